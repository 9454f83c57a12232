// The rooms of alarms and of probes in headless Chromium: against ./fixture what is done about several alarms, the journal, who is called and a
// comparison with ice whose time runs faster; against the real daemon of ./barn, with sixty-one probes, one that is warmed.
import assert from "node:assert/strict";
import { join } from "node:path";
import { after, before, test } from "node:test";
import { audit, barn, browser, fixture, noSideways, open, shots, shut, text } from "./page.mjs";

const password = "willow-7741";
const said = (page, want) => until(page, (w) => document.querySelector("#said").textContent.includes(w), want);
const small = (page) => page.evaluate(() => [...document.querySelectorAll("button, summary, select, input:not([hidden]):not([type=checkbox]), a")].filter((b) => b.offsetParent && (b.offsetHeight < 44 || b.offsetWidth < 44)).map((b) => b.textContent || b.id));

async function logIn(page) {
  await page.waitForSelector("dialog[open]");
  await page.fill("#password", password);
  await page.keyboard.press("Enter");
}

// press does by the keyboard what a finger does.
async function press(page, selector) {
  await page.focus(selector);
  await page.keyboard.press("Enter");
}

async function shutBut(page, ...statuses) {
  page.wrongs = page.wrongs.filter((w) => !statuses.some((s) => w.includes(`status of ${s}`)));
  await shut(page);
}

// until waits without keeping the browser at work.
const until = (page, what, arg) => page.waitForFunction(what, arg, { polling: 300 });

async function look(page, name, { audited = true } = {}) {
  assert.ok(await noSideways(page), `${name}: the page scrolls sideways`);
  if (audited) await audit(page, name);
  await page.screenshot({ path: join(shots, `${name}.png`), fullPage: true });
}

test("several alarms in one go, by the keyboard, and a whole nest silenced and put back", async () => {
  const page = await open("kept", { room: "#/alarms" });
  await page.waitForSelector(".several button");
  assert.equal(await text(page, ".several button"), "I have seen all 2 that are not urgent");
  await press(page, ".several button");
  await logIn(page);
  await said(page, "Saved: 2 of 2.");
  await page.waitForSelector(".several", { state: "hidden" });
  await page.waitForSelector("#alarm-b1-doe-heat- .status.is-acknowledged");
  assert.match(await text(page, "#alarm-b1-nest-heat-"), /Nobody has seen it/, "what is urgent was acknowledged with the others");
  assert.equal(await page.locator("#alarm-d1-nest-cold-").count(), 0);

  await press(page, "#whole summary");
  await page.selectOption("#whole-nest", "b1");
  await press(page, "#whole > .buttons button >> nth=0");
  await said(page, "Saved: b1 – Shelve for 15");
  await page.waitForSelector("#alarm-b1--");
  assert.match(await text(page, "#alarm-b1--"), /b1: everything\s*Shelved until 3:57 PM, on the page/);
  await press(page, "#alarm-b1-- > .buttons button");
  await page.waitForSelector("#alarm-b1--", { state: "detached" });
  await press(page, "#whole > .buttons button >> nth=2");
  assert.match(await page.evaluate(() => document.activeElement.textContent), /Nobody is called about b1, whatever happens, until you put it back/);
  await look(page, "whole-390");
  await press(page, "#whole .ask .take");
  await page.waitForSelector("#alarm-b1-- .status.is-out-of-service");
  await press(page, "#alarm-b1-- > .buttons button");
  await page.waitForSelector("#alarm-b1--", { state: "detached" });
  await shutBut(page, 401);
});

for (const [width, height, theme] of [[390, 844, "light"], [320, 640, "dark"], [820, 1180, "dark"], [1280, 800, "light"]]) {
  test(`the room of alarms, ${width} px, ${theme}`, async () => {
    const page = await open("kept", { room: "#/alarms", width, height, theme });
    await page.waitForSelector(".order li");
    assert.match(await text(page, ".calls"), /anna\s*at once\s*mobile, from warning on; post, from notice on[\s\S]*ben\s*after 90\s*min|ben\s*after 30\s*min without an answer/);
    await page.click("#journal summary");
    await page.waitForSelector(".past li");
    assert.match(await text(page, ".past"), /b1: Nest too hot\s*Urgent, began or grew worse · 101\.2 °F, limit 98\.6 °F[\s\S]*b2: Probe silent\s*shelved for 8 h, by anna, by command[\s\S]*a1: Doe visited\s*noticed[\s\S]*d1: Nest air cold\s*over after/);
    assert.deepEqual(await small(page), [], "targets under 44 px");
    await look(page, `alarms-${width}-${theme}`, { audited: width !== 390 && width !== 1280 }); // the other tests look at those
    await shut(page);
  });
}

test("the journal: each with its reason, by nest and kind, and earlier until its end", async () => {
  const page = await open("kept", { room: "#/alarms" });
  await press(page, "#journal summary");
  await page.waitForSelector(".past li");
  assert.equal(await page.locator(".past li").count(), 60);
  await press(page, ".past li summary");
  assert.match(await text(page, ".past li >> nth=0"), /Rule: nest air above the urgent limit[\s\S]*Source: an invented table\./);
  await page.selectOption("#past-kind", "act");
  await until(page, () => document.querySelectorAll(".past li").length === 1);
  await page.selectOption("#past-kind", "");
  await page.selectOption("#past-nest", "d1");
  await until(page, () => document.querySelector(".past li strong")?.textContent === "d1: Nest air cold");
  assert.match(await text(page, "#journal"), /That is all of it\./);
  await page.selectOption("#past-nest", "a1");
  await page.selectOption("#past-span", "30");
  await until(page, () => document.querySelectorAll(".past li").length === 60);
  for (const want of [120, 180, 201]) {
    await press(page, "#journal > .buttons button >> text=Earlier");
    await until(page, (n) => document.querySelectorAll(".past li").length === n, want);
  }
  assert.equal(await page.locator("#journal > .buttons button >> text=Earlier").isVisible(), false);
  await press(page, "#quality summary");
  await page.waitForSelector("#quality td");
  assert.match(await text(page, "#quality"), /Of the last 28 days\. That is too little to say much\.[\s\S]*0\.4, 3/);
  await audit(page, "the alarms' quality");
  await shut(page);
});

for (const [width, height, theme, full] of [[390, 844, "dark", true], [320, 640, "light", false]]) {
  test(`a probe in ice, ${width} px, ${theme}`, async () => {
    const page = await open("kept", { room: "#/probes", width, height, theme });
    await page.waitForSelector("#ice:not([hidden])");
    await press(page, "#ice > summary");
    assert.match(await text(page, "#ice"), /Only a sealed probe[\s\S]*Keep the board[\s\S]*Not for ice: c1-air\./);
    await page.selectOption("#ice-probe", "b2-cluster");
    assert.match(await text(page, "#ice"), /Expect: Nest air cold, Kits too cold\.[\s\S]*b2-cluster is the only probe that watches b2/);
    await press(page, "#ice .form .take");
    assert.equal(await page.evaluate(() => document.activeElement.id), "ice-sure", "it begins without the second word");
    await look(page, `ice-sure-${width}-${theme}`, { audited: full });
    await page.selectOption("#ice-probe", "d1-air");
    await press(page, "#ice .form .take");
    await logIn(page);
    await until(page, () => document.querySelector("#ice .say-now").textContent.includes("It settles"));
    await look(page, `ice-${width}-${theme}`, { audited: full });
    if (!full) {
      await press(page, "#ice > .buttons button");
      await until(page, () => document.querySelector("#ice .say-now").textContent.includes("Nothing was changed"));
      await shutBut(page, 401);
      return;
    }
    fixture.stdin.write("steady\n");
    await page.waitForSelector("#ice .result code");
    assert.match(await text(page, "#ice .result"), /Its offset is −0\.56 °F: it read 32\.56 °F in ice, the mean of 3\d readings\.\s*Stored\. It counts from the next start[\s\S]*offset: \{temperature: -0\.31/);
    await look(page, `iced-${width}-${theme}`);
    await page.click("#probe-d1-air summary");
    await until(page, () => document.querySelector("#probe-d1-air dl").textContent.includes("−0.56\u00a0°F was measured and counts from the next start"));
    await shutBut(page, 401);
  });
}

test("every probe with its place, its state and what to do, troubled ones first", async () => {
  const page = await open("kept", { room: "#/probes", width: 820, height: 1180 });
  await until(page, () => document.querySelector("#probe-c1-air .who")?.textContent.includes("Nest air"));
  assert.equal(await page.locator(".group h3").first().innerText(), "b2");
  assert.match(await text(page, "#probe-b2-cluster"), /no data\s*b2-cluster\s*Cluster\s*last 26 min ago/);
  await press(page, "#probe-b2-cluster summary");
  await until(page, () => /Number\s*28-0316/.test(document.querySelector("#probe-b2-cluster").innerText));
  assert.match(await text(page, "#probe-b2-cluster"), /Place\s*b2, Cluster\s*Line\s*w1\s*Chip\s*ds18b20\s*Number\s*28-0316/);
  await page.fill("#find-probe", "d1");
  await until(page, () => document.querySelectorAll(".group").length === 1);
  assert.match(await text(page, "#all-probes"), /2 probes, all well/);
  await page.fill("#find-probe", "zebra");
  assert.match(await text(page, "#all-probes"), /No probe is called so/);
  await page.fill("#find-probe", "");
  assert.deepEqual(await small(page), [], "targets under 44 px");
  await look(page, "probes-820-light");
  await shut(page);
});

let real;
before(async () => (real = await barn("-nests", "30", "-days", "1", "-fine", "0")));
after(() => real?.end());

test("thirty nests: the warmed probe is named, by bars that live", async () => {
  const context = await browser.newContext({ viewport: { width: 390, height: 844 }, locale: "en-US", deviceScaleFactor: 2 });
  const page = await context.newPage();
  page.setDefaultTimeout(60000);
  page.wrongs = [];
  page.on("console", (m) => ["error", "warning"].includes(m.type()) && page.wrongs.push(`console: ${m.text()}`));
  page.on("pageerror", (e) => page.wrongs.push(`error: ${e.message}`));
  await page.goto(`${real.at}#/probes`);
  await page.waitForSelector("#warm .take:not([hidden])");
  await press(page, "#warm .take");
  await logIn(page);
  await until(page, () => document.querySelectorAll(".bars li").length === 61);
  assert.match(await text(page, "#warm .say-now"), /Do not touch any of them yet\./);
  await until(page, () => document.querySelector("#warm .say-now").textContent.startsWith("Now close your hand"));
  real.tell("n17-air 30.5");
  await until(page, () => document.querySelector(".bars li.is-held .who")?.textContent === "n17-air");
  await page.screenshot({ path: join(shots, "warm-390.png") });
  await page.waitForSelector(".found li");
  assert.match(await text(page, ".found"), /That is n17-air\.\s*(Sure|Quite sure)\. It rose by \+\d+\.\d °F, the next, [a-z0-9-]+, by [+−]?\d\.\d °F\.\s*It belongs to n17, Nest air\. Its number is 28-0316a2790021\./);
  assert.match(await text(page, "#warm .say-now"), /Let it go\. You can hold the next one now\./);
  assert.equal(await page.locator(".bars li .who").first().innerText(), "n17-air");
  await look(page, "warmed-390-light");
  await page.setViewportSize({ width: 1280, height: 800 });
  await page.emulateMedia({ colorScheme: "dark" });
  await page.screenshot({ path: join(shots, "warmed-1280-dark.png") });
  // Whoever leaves the room looks no longer, and finds it again within a moment.
  const streams = [];
  page.on("request", (r) => r.url().endsWith("/api/probes/work") && streams.push(r));
  await page.click("#doors [data-room=now]");
  await page.click("#doors [data-room=probes]");
  await until(page, () => document.querySelectorAll(".found li").length === 1);
  await page.waitForSelector("#warm > .buttons button >> text=End");
  assert.equal(streams.length, 1);
  await page.click("#warm > .buttons button >> text=End");
  await until(page, () => document.querySelector("#warm .say-now").textContent === "It has ended.");
  await shutBut(page, 401);
});
