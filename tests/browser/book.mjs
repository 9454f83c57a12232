// The litter book as it is used, against the real daemon (./barn): in two taps, without a network and without doubles, with a login in between,
// refused and mended, corrected and struck, by the keyboard alone, and on every width.
import assert from "node:assert/strict";
import { join } from "node:path";
import { after, before, test } from "node:test";
import { audit, barn, browser, noSideways, shots, text } from "./page.mjs";

const password = "willow-7741";
const well = "#book-n1 button[data-key=well]";
let yard, cookies;

before(async () => {
  yard = await barn("-nests", "8", "-days", "2", "-fine", "0");
});
after(() => yard?.end());

const api = async (path) => (await fetch(yard.at + path)).json();
const newest = async () => (await api("api/book")).newest;
const story = async (n) => (await api(`api/book/litter/${n}`)).story;
const said = (page, want) => page.waitForFunction((w) => document.querySelector("#said").textContent.includes(w), want);

async function logIn(page) {
  await page.waitForSelector("dialog[open] #password");
  await page.fill("#password", password);
  await page.keyboard.press("Enter");
}

// enter opens the book on a device of its own.
async function enter(room = "", { width = 390, height = 844, theme = "light", loggedIn = true, without = "", ...more } = {}) {
  const its = await browser.newContext({ viewport: { width, height }, colorScheme: theme, locale: "en-US", hasTouch: true, serviceWorkers: "block", ...more });
  if (loggedIn && cookies) await its.addCookies(cookies);
  if (without) await its.addInitScript((name) => Object.defineProperty(globalThis, name, { value: undefined }), without);
  const page = await its.newPage();
  page.setDefaultTimeout(60000); // ends what hangs; other checks run at the same time
  page.wrongs = [];
  page.on("console", (m) => ["error", "warning"].includes(m.type()) && !/status of (401|422|503)|ERR_INTERNET|ERR_FAILED|registration blocked/.test(m.text()) && page.wrongs.push(m.text()));
  page.on("pageerror", (e) => page.wrongs.push(e.message));
  await page.goto(`${yard.at}#/book${room}`);
  await page.waitForSelector("#room-book .tabs a");
  return page;
}

async function leave(page, context = page.context()) {
  assert.deepEqual(page.wrongs, []);
  await context.close();
}

const small = (page) => page.evaluate(() => [...document.querySelectorAll("#room-book button, #room-book .tabs a, .book-form button, .book-form .chips span, .book-form input:not([type=radio])")]
  .filter((b) => b.offsetParent && (b.offsetHeight < 48 || b.offsetWidth < 44)).map((b) => b.textContent || b.name || b.type));

test("looked, all well: one tap, with a login in between, and another to take it back", async () => {
  const page = await enter();
  const before = await newest();
  await page.tap(well);
  await logIn(page);
  await said(page, "Saved: n1 – looked, all well");
  cookies = await page.context().cookies();
  const [looked] = (await story(1)).filter((e) => e.id > before);
  assert.equal(looked.said, "inspect done");
  assert.equal(looked.by, "page");
  assert.ok(Date.parse(looked.entered) - Date.parse(looked.at) > 0, "its time is not that of the press");
  await page.waitForFunction(() => document.querySelector("#book-n1 .quiet").textContent.startsWith("Looked in at"));
  await page.screenshot({ path: join(shots, "book-well.png") });
  await page.tap("#said .undo");
  await said(page, "Saved: Taken back: n1 – looked, all well");
  assert.equal((await story(1)).find((e) => e.id === looked.id).replaced_by, looked.id + 1);
  await leave(page);
});

test("a kindling that only the probes noticed: the day is told in place of the one expected, and losses are entered with it in two taps", async () => {
  const page = await enter();
  const book = await api("api/book");
  const due = book.litters.filter((l) => l.kindled === null && l.day !== null).sort((a, b) => b.day - a.day)[0];
  const noticed = new Date(Date.parse(book.time) - 5 * 3600e3).toISOString();
  await page.route("**/api/book", async (route) => {
    const answer = await route.fetch();
    const said = await answer.json();
    await route.fulfill({ response: answer, json: { ...said, litters: said.litters.map((l) => (l.litter === due.litter && !l.kindled ? { ...l, noticed } : l)) } });
  });
  await page.reload();
  const row = page.locator(`#book-${due.nest}`);
  await row.locator("button[data-key=losses]").waitFor();
  assert.match(await row.innerText(), /Kits seem to be born since \w{3}, \w{3} \d+; enter it/);
  assert.doesNotMatch(await row.innerText(), /expected/);
  await page.screenshot({ path: join(shots, "book-noticed.png") });
  await row.locator("button[data-key=losses]").tap();
  await page.tap(".book-form [data-field=kits] [data-saves] >> nth=0");
  await said(page, "Saved: ");
  const last = (await story(due.litter)).slice(-2);
  assert.deepEqual(last.map((e) => e.what), ["kindled", "lost"]);
  assert.equal(Date.parse(last[0].at), Date.parse(noticed));
  await page.tap("#said .undo");
  await said(page, "Saved: Taken back");
  assert.equal((await api("api/book")).litters.find((l) => l.litter === due.litter).kindled, null);
  await page.unrouteAll({ behavior: "ignoreErrors" }); // the page may be asking for the book
  await leave(page);
});

test("losses: how many in two taps, and why in a third; what cannot be is refused beside the field, and mended", async () => {
  const page = await enter();
  const before = await newest();
  let taps = 0;
  const tap = (selector) => (taps++, page.tap(selector));
  const entries = async () => (await story(2)).filter((e) => e.id > before).map((e) => e.said);
  await tap("#book-n2 button[data-key=losses]");
  assert.equal(await page.locator(".book-form [data-field=kits] [data-saves]").count(), 7, "a key for each kit that lives");
  await tap(".book-form [data-field=kits] button >> nth=0");
  await said(page, "Saved: n2: Juniper – looked, losses – 1 kit, Not known");
  assert.equal(taps, 2);
  assert.deepEqual(await entries(), ["1 lost, not known"]);
  await page.waitForFunction(() => document.querySelector("#book-n2 .title span").textContent.includes("6 of "));
  await tap("#book-n2 button[data-key=losses]");
  await tap(".book-form label >> text=Dragged out");
  await audit(page, "the form");
  assert.deepEqual(await small(page), [], "targets that are too small for a glove");
  await page.screenshot({ path: join(shots, "book-losses.png") });
  await tap(".book-form [data-field=kits] button >> nth=1");
  await said(page, "Saved: n2: Juniper – looked, losses – 2 kits, Dragged out");
  assert.equal(taps, 5);
  assert.deepEqual((await entries()).sort(), ["1 lost, not known", "2 lost, dragged out"]);
  await page.waitForFunction(() => document.querySelector("#book-n2 .quiet").textContent.startsWith("Looked in at"));
  await page.goto(`${yard.at}#/book/litter/2`);
  await page.tap("#book-view-past button[data-focus=weighed]");
  await page.fill(".book-form [data-field=grams] input[type=number]", "20");
  await page.tap(".book-form [data-field=grams] label >> text=kg");
  await page.tap(".book-form [data-field=kits] label >> nth=1");
  await page.tap(".book-form label >> text=Another time");
  await page.fill(".book-form input[type=date]", "2020-01-01");
  await page.tap(".book-form .take");
  await page.waitForFunction(() => document.querySelector(".book-form [data-field=on] .wrong").textContent.includes("is before litter 2 began"));
  await page.screenshot({ path: join(shots, "book-refused.png"), fullPage: true });
  await page.keyboard.press("Escape");
  assert.match(await text(page, "#pending .is-refused"), /Refused[\s\S]*is before litter 2 began/);
  await page.tap("#pending button >> text=Mend it");
  await page.waitForFunction(() => document.querySelector(".book-form [data-field=on] .wrong").textContent.includes("is before litter 2 began"));
  await page.tap(".book-form [data-field=on] label >> text=Now");
  await page.tap(".book-form .take");
  await page.waitForSelector("#pending .is-unusual");
  assert.match(await text(page, "#pending .is-unusual"), /20000 g for one kit on .* is unusual/);
  await audit(page, "what is unusual");
  await page.tap("#pending button >> text=Correct it");
  await page.tap(".book-form [data-field=grams] button >> nth=0"); // 10 g less
  await page.fill(".book-form [data-field=grams] input[type=number]", "210");
  await page.tap(".book-form .take");
  await said(page, "Saved: n2: Juniper – correct");
  await page.waitForSelector("#pending", { state: "hidden" });
  const all = await story(2);
  assert.equal(all.find((e) => e.said.includes("20000 g")).replaced_by, all.find((e) => e.said.includes("210 g")).id);
  await page.waitForFunction(() => document.querySelector(".story")?.textContent.includes("210 g"));
  await page.screenshot({ path: join(shots, "book-litter.png"), fullPage: true });
  await leave(page);
});

test("without a network entries wait through a reload, are sent in order, and stand in the book once", async () => {
  const page = await enter("", { serviceWorkers: "allow" });
  const context = page.context();
  await page.waitForFunction(() => navigator.serviceWorker.controller !== null && caches.keys().then((all) => all.some((n) => n.startsWith("nestmon-page-"))), null, { timeout: 60000 });
  const keptFiles = await page.evaluate(async () => (await Promise.all((await caches.keys()).map(async (name) => (await (await caches.open(name)).keys()).map((r) => r.url)))).flat());
  assert.ok(keptFiles.length > 20 && keptFiles.every((url) => !url.includes("/api/")), `kept: ${keptFiles}`);
  const before = await newest();
  await context.setOffline(true);
  const at = await page.locator("#book-n2 button").first().boundingBox();
  await page.tap(well);
  await said(page, "Kept on this device, waiting to be sent: n1 – looked, all well");
  assert.equal((await page.locator("#book-n2 button").first().boundingBox()).y, at.y, "what was pressed moves the next nest's button");
  await page.tap("#book-n3 button[data-key=kindled]");
  await page.tap(".book-form [data-field=kits] label >> text='6'");
  await page.tap(".book-form .take");
  await page.waitForSelector(".book-form", { state: "detached" });
  await page.tap("#book-n4 button[data-key=bred]");
  await page.tap(".book-form [data-field=doe] label >> text=Other…");
  await page.fill(".book-form [data-field=doe] input:not([type=radio])", "Sorrel");
  await page.tap(".book-form .take");
  await page.waitForSelector(".book-form", { state: "detached" });
  assert.equal(await page.locator("#waits li").count(), 3);
  assert.match(await text(page, "#book-n1"), /Waiting to be sent: looked, all well/);
  await page.screenshot({ path: join(shots, "book-waiting.png"), fullPage: true });
  await page.reload(); // the phone's battery died, and there is no network
  await page.waitForSelector("#waits li:nth-child(3)");
  assert.match(await text(page, "#waits"), /That you have seen an alarm is never kept for later/);
  assert.match(await text(page, "#room-book"), /It cannot be reached now; what you enter waits here\./);
  await audit(page, "without a network");
  await page.tap("#waits li:nth-child(3) button >> text=Undo");
  await page.waitForSelector("#waits li:nth-child(3)", { state: "detached" });
  // The first answer is lost on its way: it is stored, and sent again.
  let lost = 0;
  await page.route("**/api/book/enter", async (route) => {
    if (lost++ > 0) return route.continue();
    await route.fetch();
    return route.abort();
  });
  const pressedBy = Date.now();
  await context.setOffline(false);
  await page.waitForSelector("#waits", { state: "hidden" });
  assert.ok(lost >= 3, `${lost} sends`);
  const { litters } = await api("api/book");
  const fresh = [...(await story(1)), ...(await story(3))].filter((e) => e.id > before && e.what !== "struck").sort((a, b) => a.id - b.id);
  assert.deepEqual(fresh.map((e) => e.said), ["inspect done", "kindled, 6 alive"]);
  assert.ok(fresh.every((e) => Date.parse(e.at) < pressedBy), "the time is that of the sending");
  assert.equal(litters.some((l) => l.doe === "Sorrel" && l.day !== null), false, "what was taken back stands in the book");
  await leave(page);
});

test("a session that ended keeps what was entered, also in a browser without a database, and asks for the password", async () => {
  const page = await enter("", { loggedIn: false, without: "indexedDB" });
  const before = await newest();
  await page.tap(well);
  await page.waitForSelector("dialog[open] #password");
  await page.keyboard.press("Escape");
  await page.waitForFunction(() => document.querySelector("#waits").textContent.includes("Nobody is logged in."));
  await page.reload();
  await page.goto(`${yard.at}#/`);
  await page.waitForSelector("#waiting >> text=Log in");
  assert.match(await text(page, "#waiting"), /1 entry waits to be sent\. Log in to send\./);
  assert.equal(await newest(), before);
  await page.tap("#waiting");
  await page.tap("#pending .take");
  await logIn(page);
  await page.waitForSelector("#waits", { state: "hidden" });
  assert.equal(await newest(), before + 1);
  await leave(page);
});

test("chores: done in a tap, told why, taken back", async () => {
  const page = await enter("/chores");
  const row = "#chores .task.is-today:has(strong:text-is('n1: Raise the doe’s ration')), #chores .task.is-today:has-text('ration')";
  await page.waitForSelector(row);
  const task = page.locator(row).first();
  const name = await task.locator("strong").innerText();
  await task.locator("summary").tap();
  assert.match(await task.innerText(), /Rule: [\s\S]*Source: /);
  await task.locator("button", { hasText: "Done" }).tap();
  await said(page, "Saved: ");
  await page.locator("#chores details.group > summary").tap();
  const done = page.locator("#chores .task.is-done", { hasText: name }).first();
  await done.waitFor();
  await page.screenshot({ path: join(shots, "book-chores.png"), fullPage: true });
  await done.locator("button").tap();
  await said(page, "Saved: Taken back");
  await page.locator(row).first().locator("button", { hasText: "Done" }).waitFor();
  await leave(page);
});

test("by the keyboard alone: find, foster, note, strike, and who wrote it", async () => {
  const page = await enter("/litters");
  await page.fill("#book-device", "Anna’s phone");
  await page.keyboard.press("Tab");
  await page.goto(`${yard.at}#/book`);
  const press = async (selector, key = "Enter") => {
    await page.locator(selector).first().focus();
    await page.keyboard.press(key);
  };
  await page.locator("#book-find").focus();
  await page.keyboard.type("haz");
  await page.waitForFunction(() => document.querySelectorAll("#book-nests > li").length === 1);
  assert.match(await text(page, "#book-nests"), /Hazel/);
  await press("#book-n1 .title a");
  await page.waitForSelector("#book-view-past .story");
  await press("#book-view-past button[data-focus^=fostered-out], #book-view-past button[data-focus^=foster-]");
  await page.waitForSelector(".book-form[open]");
  await press(".book-form [data-field=with] input", "Space");
  await press(".book-form [data-field=kits] input", "Space");
  await press(".book-form .take");
  await said(page, "Saved: n1: Hazel – Fostered out");
  const out = (await story(1)).find((e) => e.what === "fostered-out");
  assert.match(out.by, /^Anna’s phone, page$/);
  await press(`#book-view-past [data-key=more-${out.id}] summary`);
  await press(`#book-view-past button[data-focus=strike-${out.id}]`);
  await page.locator(".book-form input, .book-form textarea").first().focus();
  await page.keyboard.type("put back");
  await press(".book-form .take");
  await said(page, "Saved: n1: Hazel – strike");
  const told = await story(3);
  assert.equal(told.filter((e) => e.what === "fostered-in" && e.replaced_by).length, 1, "the other side stays");
  await press("#book-view-past button[data-focus=noted]");
  await page.locator(".book-form textarea").focus();
  await page.keyboard.type("calm, and dry");
  await press(".book-form .take");
  await said(page, "Saved: n1: Hazel – Note");
  assert.ok((await story(1)).some((e) => e.said === "noted: calm, and dry"));
  await leave(page);
});

const views = [["nests", "", "#book-n1"], ["chores", "/chores", "#chores .task"], ["litters", "/litters", ".litters li"], ["litter", "/litter/1", "#book-view-past .story"], ["nest", "/nest/n1", "#book-view-past .story"], ["doe", "/doe/Hazel", "#book-view-past .litters li"]];

// Every view is audited on the phone in the light, and the fullest in the dark; the others are the same parts at another width.
for (const [width, height, theme, audits] of [[390, 844, "light", ["nests", "chores", "litters", "litter", "nest", "doe", "form"]], [320, 640, "dark", ["chores", "litter", "form"]], [820, 1180, "dark", []], [1280, 900, "light", ["nests"]]]) {
  test(`every view at ${width} px, ${theme}`, async () => {
    const page = await enter("", { width, height, theme });
    for (const [name, room, ready] of width === 390 ? views : views.filter(([name]) => name === "nests" || name === "litter" || audits.includes(name))) {
      await page.goto(`${yard.at}#/book${room}`);
      await page.locator(ready).first().waitFor();
      await page.screenshot({ path: join(shots, `book-${name}-${width}-${theme}.png`), fullPage: true });
      if (audits.includes(name)) await audit(page, name);
      assert.ok(await noSideways(page), `${name} scrolls sideways`);
      assert.deepEqual(await small(page), [], `${name}: targets that are too small`);
    }
    await page.goto(`${yard.at}#/book/nest/n5`);
    await page.click("#book-view-past button[data-focus=kindled]");
    await page.waitForSelector(".book-form[open]");
    await page.click(".book-form summary");
    if (audits.includes("form")) await audit(page, "a long form");
    assert.deepEqual(await small(page), [], "the form: targets that are too small");
    await page.screenshot({ path: join(shots, `book-form-${width}-${theme}.png`) });
    await leave(page);
  });
}
