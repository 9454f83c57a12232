// The room of one nest and the room that compares, in headless Chromium: what the graph says at one instant, how it is moved by thumb, mouse,
// keyboard and address, what happened as marks and as a list, and the same as a table.
import assert from "node:assert/strict";
import { join } from "node:path";
import { test } from "node:test";
import { audit, barn, browser, fixture, noSideways, open, shots, shut, text } from "./page.mjs";

// enter opens a scene and goes to a room with a graph.
async function enter(hash, options) {
  const page = await open("mixed", { room: hash, ...options });
  await drawn(page);
  return page;
}

async function go(page, hash) {
  await page.evaluate((h) => (location.hash = h), hash);
  await drawn(page);
}

const drawn = (page) => page.waitForFunction(() => document.querySelector(".room:not([hidden]) .chart canvas") && document.querySelector(".room:not([hidden]) .key li"));
const hashOf = (page) => page.evaluate(() => location.hash);
const press = (page, name) => page.click(`.room:not([hidden]) [data-do=${name}]`);
const until = (page, pattern) => page.waitForFunction(([source]) => new RegExp(source).test(location.hash), [pattern.source]);

for (const [width, height, theme, hash] of [[390, 844, "light", "#/nest/b1"], [320, 640, "dark", "#/nest/b1/all"], [820, 1180, "dark", "#/compare/nests/b1/a1/7d"], [1280, 800, "light", "#/nest/b1/30d"], [390, 844, "dark", "#/compare/litters/2/1"]]) {
  test(`${hash}, ${width} px, ${theme}`, async () => {
    const page = await enter(hash, { width, height, theme });
    await audit(page, "axe-core");
    assert.ok(await noSideways(page), "the page scrolls sideways");
    const small = await page.evaluate(() => [...document.querySelectorAll(".room:not([hidden]) :is(button, summary, select, input)")].filter((b) => b.offsetParent && (b.offsetHeight < 44 || b.offsetWidth < 40)).map((b) => b.outerHTML.slice(0, 60)));
    assert.deepEqual(small, [], "targets that a thumb misses");
    const found = await page.evaluate(contrast);
    assert.ok(Math.min(...found.contrast) >= 3, `${found.contrast}`);
    assert.ok(new Set(found.looks).size >= found.looks.length, `lines that only colour tells apart: ${found.looks.join("; ")}`);
    await page.locator(".room:not([hidden]) .graph").screenshot({ path: join(shots, `graph-${width}-${theme}${hash.replaceAll("/", "-").slice(1)}.png`) });
    await shut(page);
  });
}

// contrast is of each line's colour with the ground, and looks of every line in the legend.
const contrast = () => {
  const canvas = document.createElement("canvas").getContext("2d", { willReadFrequently: true });
  const channels = (colour) => {
    canvas.fillStyle = colour;
    canvas.fillRect(0, 0, 1, 1);
    return [...canvas.getImageData(0, 0, 1, 1).data].slice(0, 3).map((v) => (v / 255 <= 0.04045 ? v / 255 / 12.92 : ((v / 255 + 0.055) / 1.055) ** 2.4));
  };
  const light = (colour) => channels(colour).reduce((sum, v, i) => sum + v * [0.2126, 0.7152, 0.0722][i], 0);
  const style = getComputedStyle(document.documentElement);
  const names = ["cluster", "cluster-2", "air", "cage", "outside", "cluster-b", "air-b"];
  const [card, ...lines] = [style.getPropertyValue("--card"), ...names.map((n) => style.getPropertyValue(`--line-${n}`))].map(light);
  const looks = [...document.querySelectorAll(".room:not([hidden]) .key li")].filter((li) => !/humidity/.test(li.textContent)).map((li) => li.querySelector("path")).map((p) => `${p.getAttribute("stroke-width")} ${p.getAttribute("stroke-dasharray")}`);
  return { contrast: lines.map((l) => (Math.max(l, card) + 0.05) / (Math.min(l, card) + 0.05)), looks };
};

test("what is seen stands in the address, and leads there again", async () => {
  const page = await enter("#/nest/b1");
  assert.match(await text(page, ".when"), /^Fri, Jul 18, 3:42 PM – Sat, Jul 19, 3:42 PM$/);
  await press(page, "week");
  await until(page, /#\/nest\/b1\/7d$/);
  await press(page, "earlier");
  await until(page, /#\/nest\/b1\/7d\/2031-07-16T0942Z$/);
  await page.reload();
  await drawn(page);
  assert.match(await text(page, ".when"), /^Wed, Jul 9, 3:42 AM – Wed, Jul 16, 3:42 AM$/);
  assert.equal(await page.getAttribute("[data-do=week]", "aria-pressed"), "true");
  await press(page, "now");
  await until(page, /#\/nest\/b1\/7d$/);
  assert.equal(await page.getAttribute("[data-do=later]", "aria-disabled"), "true");
  await press(page, "all");
  await until(page, /#\/nest\/b1\/all$/);
  await page.waitForFunction(() => document.querySelector(".when").textContent.includes("2029"));
  assert.match(await text(page, ".happened"), /Not shown: 6\d\d visits\. Show less time to see them\./);
  await page.click("#room-nest .others >> text=a1");
  await page.waitForFunction(() => document.querySelector("#room-nest .card h2")?.textContent === "a1");
  assert.equal(await hashOf(page), "#/nest/a1");
  await page.goBack();
  await page.waitForFunction(() => document.querySelector("#room-nest .card h2")?.textContent === "b1");
  await shut(page);
});

test("the keyboard moves, zooms and reads", async () => {
  const page = await enter("#/nest/b1");
  await page.focus("#room-nest .field");
  await page.keyboard.press("ArrowLeft");
  await until(page, /1d\/2031-07-19T1542Z$/);
  await page.keyboard.press("+");
  await until(page, /b1\/12h\/2031-07-19T0942Z$/);
  await page.keyboard.press("-");
  await page.keyboard.press("End");
  await until(page, /b1\/1d$/);
  const at = async () => text(page, "#room-nest .read");
  const before = await at();
  for (let i = 0; i < 4; i++) await page.keyboard.press("Shift+ArrowLeft");
  const after = await at();
  assert.notEqual(after, before);
  await page.focus("#room-nest input[type=range]");
  await page.keyboard.press("ArrowLeft");
  assert.notEqual(await at(), after);
  const said = (await page.getAttribute("#room-nest input[type=range]", "aria-valuetext")).replaceAll("\u00a0", " ");
  assert.match(said, /^Sat, Jul 19, 3:\d\d PM: Cluster 10\d\.\d °F.*Nest air 9\d\.\d °F.*Cluster, hot limit 102\.2 °F, Cluster, cold limit 93\.2 °F, Nest air, hot limit 86\.0 °F/);
  await page.click("[data-unit=celsius]");
  await page.waitForFunction(() => document.querySelector("#room-nest .key").textContent.includes("39.0\u00a0°C"));
  await shut(page);
});

test("thumbs drag, pinch and tap, and the wheel zooms", async () => {
  const page = await enter("#/nest/b1", { hasTouch: true });
  const client = await page.context().newCDPSession(page);
  await page.locator(".field").scrollIntoViewIfNeeded();
  const box = await page.locator(".chart").boundingBox();
  const y = box.y + box.height / 3;
  const x = (share) => box.x + 46 + share * (box.width - 58);
  const touch = (type, ...xs) => client.send("Input.dispatchTouchEvent", { type, touchPoints: xs.map((at, id) => ({ x: at, y, id })) });
  await touch("touchStart", x(0.2));
  for (const s of [0.3, 0.5, 0.7]) await touch("touchMove", x(s));
  await touch("touchEnd");
  await until(page, /1d\/2031-07-19T0[89]/); // half a day earlier, give or take the first pixels
  await touch("touchStart", x(0.4), x(0.6));
  for (const by of [0.05, 0.1]) await touch("touchMove", x(0.4 - by), x(0.6 + by));
  await touch("touchEnd");
  await until(page, /b1\/12h\/2031-07-19T0/);
  await page.touchscreen.tap(x(0.5), y);
  await page.waitForFunction(() => /^Fri, Jul 18|^Sat, Jul 19/.test(document.querySelector(".read").textContent));
  await page.mouse.move(x(0.5), y);
  await page.keyboard.down("Control");
  await page.mouse.wheel(0, 300);
  await page.keyboard.up("Control");
  await until(page, /b1\/[23]\dh/);
  await shut(page);
});

test("what happened is marked, listed, explained, and leads to its place", async () => {
  const page = await enter("#/nest/b1");
  const all = await text(page, ".happened");
  for (const want of ["Urgent: Nest too hot", "since Sat, Jul 19, 3:27 PM", "Warning: Kits too cold", "for 3 h", "Nest was opened", "Doe visited", "Inspect done", "To do: Inspect the nest"]) assert.ok(all.includes(want), `no ${want} in ${all}`);
  await page.click(".event.is-urgent summary");
  assert.match(await text(page, ".event.is-urgent details"), /thin the fur[\s\S]*101\.2 °F, limit 98\.6 °F · probe b1-air[\s\S]*Rule: nest air above the urgent limit[\s\S]*Source: an invented table/);
  await page.click(".event.is-warning button");
  await until(page, /b1\/1d\/2031-07-19T1742Z$/);
  assert.equal(await page.getAttribute(".event.is-warning button", "aria-current"), "true");
  assert.match(await text(page, ".read"), /Warning: Kits too cold · Fri, Jul 18, 11:42 PM/);
  assert.match(await text(page, ".key"), /Cluster\s*8\d\.\d °F/);
  assert.deepEqual(await page.evaluate(() => [...document.querySelectorAll(".event")].map((e) => e.querySelector("path").getAttribute("d"))).then((d) => new Set(d).size >= 5), true, "marks share a shape");
  const places = await page.evaluate(async () => {
    const { gather } = await import(document.querySelector("script[type=module]").src.replace("main.js", "marks.js"));
    const marks = [["visit", 10], ["opened", 20], ["urgent", 30], ["warning", 31], ["urgent", 40], ["visit", 90]].map(([kind, x]) => ({ kind, x }));
    return gather(marks, (m) => m.x).map((p) => [p.x, ...p.marks.map((m) => m.kind + m.x)].join(" "));
  });
  assert.deepEqual(places, ["30 urgent30 urgent40 opened20 visit10", "31 warning31", "90 visit90"], "what crowds is not counted at the most important mark near it");
  await press(page, "month"); // a mark of another age
  await page.waitForFunction(() => document.querySelector(".happened").textContent.includes("Kindled, 7 alive"));
  await shut(page);
});

test("a table says the same, and gaps stay gaps", async () => {
  const page = await enter("#/nest/b1");
  const held = await page.evaluate(async () => {
    const lines = await import(document.querySelector("script[type=module]").src.replace("main.js", "lines.js"));
    const at = (t) => Date.parse(t);
    const fine = await lines.span("b1", { from: at("2031-07-19T09:00Z"), to: at("2031-07-19T14:00Z"), length: 5 * 3600e3, now: at("2031-07-19T21:42Z") }, 300);
    const old = await lines.span("b1", { from: at("2031-01-10T00:00Z"), to: at("2031-01-11T00:00Z"), length: 86400e3, now: at("2031-07-19T21:42Z") }, 300);
    const air = (d) => d.lines.find((l) => l.role === "air" && l.unit === "C").mean;
    return [air(fine).filter((v) => v === null).length, air(fine).filter((v) => v === undefined).length, old.step, air(old).filter((v) => v === null).length];
  });
  assert.ok(held[0] >= 150 && held[1] === 0, `${held}`);
  assert.deepEqual(held.slice(2), [3600, 0], "hours of long ago");
  await page.click(".graph > .plain");
  await page.waitForSelector("#room-nest tbody tr");
  assert.deepEqual(await page.locator("#room-nest thead th").allInnerTexts(), ["Time", "Cluster °F", "Nest air °F", "Nest air, humidity", "Doe’s cage °F", "Outside, humidity"]);
  const rows = await page.locator("#room-nest tbody tr").allInnerTexts();
  assert.equal(rows.length, 25);
  assert.equal(rows.filter((r) => r.split("\t")[2] === "–").length, 3);
  await page.locator(".graph").screenshot({ path: join(shots, "table-390.png") });
  await audit(page, "axe-core");
  await press(page, "month");
  await page.waitForFunction(() => document.querySelectorAll("#room-nest tbody tr").length === 31);
  await press(page, "all");
  await page.waitForFunction(() => document.querySelectorAll("#room-nest tbody tr").length === 105);
  await shut(page);
});

test("an open graph follows a fast clock, and says when the archive lags", async () => {
  const page = await open("mixed");
  await page.clock.install();
  await page.addInitScript(() => Object.defineProperty(navigator, "connection", { value: { saveData: true } })); // nothing is read ahead
  await page.reload();
  await go(page, "#/nest/b1");
  assert.equal(await text(page, ".until"), "");
  await page.clock.pauseAt(await page.evaluate(() => Date.now() + 1000)); // only the state's own time passes from here
  fixture.stdin.write("20m\n");
  await page.waitForFunction(() => document.querySelector(".until").textContent.includes("Drawn until Sat, Jul 19, 3:40"));
  for (const seen = new Set(); seen.size < 3; ) seen.add(await page.waitForResponse("**/api/nest?*").then((r) => new URL(r.url()).searchParams.get("to")));
  await page.clock.resume();
  fixture.stdin.write("mixed\n");
  await page.waitForFunction(() => document.querySelector(".until").textContent === "");
  const word = await page.waitForEvent("request", { timeout: 1500, predicate: (r) => r.url().includes("/api/nest?") }).catch(() => "none");
  assert.equal(word, "none", "the archive is asked again though no time has passed");
  await shut(page);
});

test("two nests and two litters are laid over each other", async () => {
  const page = await enter("#/nest/b1");
  await page.click("#room-nest .known .go");
  await page.waitForFunction(() => location.hash.startsWith("#/compare/nests/b1/a1"));
  await page.waitForSelector("#room-compare .chart canvas");
  assert.deepEqual((await page.locator("#room-compare .key span").allInnerTexts()).sort(), ["Outside", "a1, Cluster", "a1, Nest air", "b1, Cluster", "b1, Nest air"]);
  await page.selectOption("#room-compare select >> nth=2", "d1"); // cannot be read
  await page.waitForFunction(() => document.querySelector("#room-compare .graph .quiet")?.textContent.includes("archive cannot be read"));
  assert.ok(page.wrongs.splice(0).every((w) => /503/.test(w)));
  await page.selectOption("#room-compare select >> nth=0", "litters");
  await drawn(page);
  await page.waitForFunction(() => location.hash.startsWith("#/compare/litters/2/"));
  await go(page, "#/compare/litters/2/1/7d");
  await page.waitForFunction(() => document.querySelector("#room-compare .key")?.textContent.includes("Litter 1 (Hazel), Cluster"));
  assert.match(await text(page, "#room-compare .key"), /Litter 2 \(Hazel\), Cluster[\s\S]*Cluster, hot limit/);
  await page.click("#room-compare .graph > .plain");
  await page.waitForSelector("#room-compare tbody tr");
  assert.match((await page.locator("#room-compare tbody th").allInnerTexts()).join(), /Day \d+/);
  await audit(page, "axe-core");
  await shut(page);
});

test("the daemon's own archive is drawn, with its silent hours", async () => {
  const it = await barn();
  const context = await browser.newContext({ locale: "en-US", viewport: { width: 390, height: 844 } });
  const page = await context.newPage();
  page.wrongs = [];
  page.on("pageerror", (e) => page.wrongs.push(e.message));
  await page.goto(`${it.at}#/nest/n2/2d`);
  await drawn(page);
  await page.click("#room-nest .graph > .plain");
  await page.waitForSelector("#room-nest tbody tr");
  const silent = (await page.locator("#room-nest tbody tr").allInnerTexts()).filter((r) => r.split("\t")[2] === "–" && r.split("\t")[1] !== "–");
  assert.equal(silent.length, 4, "two hours in each of two nights");
  await press(page, "month");
  await page.click("#room-nest .graph > .plain");
  await page.waitForFunction(() => /Cluster, hot limit\s*101\.3/.test(document.querySelector("#room-nest .key").textContent)); // 38.5 °C on day 12
  await page.waitForFunction(() => document.querySelector(".happened").textContent.includes("Kindled, 8 alive"));
  await shut(page);
  await it.end();
});
