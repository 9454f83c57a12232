// What a person does, in headless Chromium against ./fixture: an alarm is acknowledged by tap and by key, with a login in between; shelved, put
// back; the phone tested; a message's link answered. What is saved is what the daemon said, never what was hoped.
import assert from "node:assert/strict";
import { join } from "node:path";
import { test } from "node:test";
import { address, audit, bare, browser, closed, fixture, noSideways, open, shots, shut, text } from "./page.mjs";

const password = "willow-7741";
const heat = "#alarm-b1-nest-heat-";
const said = (page, want) => page.waitForFunction((w) => document.querySelector("#said").textContent.includes(w), want);
const small = (page) => page.evaluate(() => [...document.querySelectorAll("button, summary, input:not([hidden]), a")].filter((b) => b.offsetParent && (b.offsetHeight < 44 || b.offsetWidth < 44)).map((b) => b.textContent || b.id));

// logIn answers the dialog that an action has opened.
async function logIn(page) {
  await page.waitForSelector("dialog[open]");
  await page.fill("#password", password);
  await page.keyboard.press("Enter");
}

// refusals are what the console says of answers that a test wants.
async function shutBut(page, ...statuses) {
  page.wrongs = page.wrongs.filter((w) => !statuses.some((s) => w.includes(`status of ${s}`)));
  await shut(page);
}

for (const [width, height, theme] of [[390, 844, "light"], [320, 640, "dark"], [820, 1180, "dark"]]) {
  test(`an alarm is acknowledged by tap after a login, ${width} px, ${theme}`, async () => {
    const page = await open("kept", { room: "#/alarms", width, height, theme, hasTouch: true });
    await page.waitForSelector(`${heat} .take`);
    await audit(page, "axe-core");
    assert.deepEqual(await small(page), [], "targets under 44 px");
    await page.screenshot({ path: join(shots, `kept-${width}-${theme}.png`), fullPage: true });
    await page.tap(`${heat} .take`);
    await page.waitForSelector("dialog[open]");
    await audit(page, "axe-core, with the login");
    await page.screenshot({ path: join(shots, `login-${width}-${theme}.png`) });
    await page.fill("#password", "hazel-0000");
    await page.tap("dialog .take");
    await page.waitForFunction(() => document.querySelector("#login-wrong").textContent.includes("this is not the password"));
    await page.fill("#password", password);
    await page.tap("dialog .take");
    await said(page, "Saved: b1: Nest too hot – I have seen it");
    await page.waitForFunction((h) => document.querySelector(`${h} .status`).textContent.startsWith("Seen at"), heat);
    assert.equal(await page.locator(`${heat} .take`).count(), 0, "it can be acknowledged again");
    assert.match(await text(page, "#verdict"), /^1 urgent alarm still stands, seen at 3:42 PM on the page\. Look soon: 1 warning\./);
    assert.match(await page.getAttribute("#verdict", "class"), /chip-urgent/);
    assert.ok(await noSideways(page), "the page scrolls sideways");
    await audit(page, "axe-core, with what was said");
    await page.screenshot({ path: join(shots, `acted-${width}-${theme}.png`) });
    await shutBut(page, 401);
  });
}

test("a closed page asks for its password first, and again after the logout", async () => {
  const page = await open("kept", { at: closed });
  await audit(page, "axe-core, closed");
  const nothing = async () => assert.doesNotMatch(await page.locator("body").innerText(), /Juniper|b1|°\s*F\b.*\d/);
  await nothing();
  await page.keyboard.press("Escape");
  await page.waitForSelector("#closed button:focus");
  await audit(page, "axe-core, given up");
  await page.screenshot({ path: join(shots, "closed.png") });
  await page.keyboard.press("Enter");
  await logIn(page);
  await page.waitForFunction(() => document.querySelector("#site").textContent === "Juniper Gulch");
  // The book is kept on the device, and with it what waits to be sent. After the logout only this is left.
  const kept = (deed) => page.evaluate((write) => new Promise((good) => {
    const open = indexedDB.open("nestmon-book");
    open.onsuccess = () => {
      const t = open.result.transaction(["shown", "sends"], "readwrite");
      if (write) t.objectStore("shown").put(write, "book");
      const [book, sends] = [t.objectStore("shown").get("book"), t.objectStore("sends").count()];
      t.oncomplete = () => (open.result.close(), good({ book: book.result ?? null, sends: sends.result }));
    };
  }), deed);
  const until = async (what) => {
    const holds = async () => kept().then(what, () => false); // a page that begins anew answers nothing
    for (let left = 100; !(await holds()); left--) {
      assert.ok(left > 0, "it is still kept, or never was");
      await page.waitForTimeout(100);
    }
  };
  const outOfReach = (route) => route.abort();
  await page.route("**/api/book/enter", outOfReach);
  await page.goto(`${closed}#/book`);
  await page.click("#book-b1 button[data-key=well]");
  await page.waitForSelector("#waits li");
  await until(({ book, sends }) => book?.book.litters.length === 3 && sends === 1);
  const { book } = await kept();
  await page.evaluate(() => fetch("api/logout", { method: "POST", headers: { "Content-Type": "application/json" }, body: "{}" })); // as if in another window
  await page.waitForSelector("dialog[open]");
  await until(({ book, sends }) => book === null && sends === 1);
  await kept(book); // as if the session had ended while the phone was off
  await page.reload();
  await until(({ book, sends }) => book === null && sends === 1);
  await page.waitForSelector("dialog[open]");
  assert.doesNotMatch(await page.locator("body").innerText(), /Juniper|°\s*F\b.*\d|Hazel|Fern/);
  await page.unroute("**/api/book/enter", outOfReach);
  page.wrongs = page.wrongs.filter((w) => !w.includes("ERR_FAILED"));
  await shutBut(page, 401);
});

test("every status is told in words", async () => {
  const page = await open("kept", { room: "#/alarms" });
  assert.match(await text(page, heat), /Nobody has seen it\. It came first here\./);
  assert.match(await text(page, "#alarm-d1-cluster-chill-"), /Seen at 3:12 PM\. Nobody is called again unless it gets worse\./);
  assert.match(await text(page, "#alarm-b2-probe-silent-"), /Shelved until 9:42 PM, on the page\. Nobody is called meanwhile/);
  assert.match(await text(page, "#alarm-b2-probe-fault-"), /Nobody is called for it by itself: “Probe silent” stands for it\./);
  assert.match(await text(page, "#quiet"), /Over, not seen\s*d1: Nest air cold\s*Warning from 6:41 AM to 8:42 AM\s*Over since 8:42 AM, and nobody has seen it\./);
  assert.match(await text(page, "#quiet"), /Out of service\s*c1: everything\s*Out of service, by anna, by a command\. Nobody is called until you put it back\./);
  assert.match(await text(page, "#verdict"), /2 alarms are shelved or out of service\./);
  await page.click("#doors [data-room=now]");
  assert.match(await text(page, "#nest-d1 .stands"), /Kits too cold[\s\S]*91\.8 °F · since 3:00 PM, 42 min · seen/);
  assert.match(await text(page, "#nest-b2 .stands"), /shelved[\s\S]*End the shelf/);
  await shut(page);
});

test("by the keyboard alone: acknowledge, shelve, end the shelf, take out and put back", async () => {
  const page = await open("kept", { room: "#/alarms" });
  await page.waitForSelector(`${heat} .take`);
  await page.focus(`${heat} .take`);
  await page.keyboard.press("Enter");
  await logIn(page);
  await said(page, "Saved");
  await page.waitForSelector(`${heat} .status.is-acknowledged`);
  assert.equal(await page.evaluate(() => document.activeElement.closest("dialog")), null);
  const status = (id, want) => page.waitForSelector(`${id} .status.is-${want}`);
  const press = async (selector) => {
    await page.focus(selector);
    await page.keyboard.press("Enter");
  };
  await press(`${heat} .more summary`);
  assert.deepEqual(await page.locator(`${heat} .more button`).allInnerTexts(), ["Shelve for 15 min", "Shelve for 1 h", "Out of service until I put it back"].map((t) => t.replaceAll(/(\d+) /g, "$1\u00a0")), "heat is shelved for an hour at most");
  await press(`${heat} .more button >> nth=0`);
  await status(heat, "shelved");
  assert.match(await text(page, heat), /Shelved until 3:57 PM, on the page/);
  await press(`${heat} > .buttons button`);
  await status(heat, "acknowledged");
  await press(`${heat} .more button >> nth=2`);
  await status(heat, "out-of-service");
  await press(`${heat} > .buttons button`);
  await status(heat, "acknowledged");
  const silent = "#alarm-b2-probe-silent-";
  await press(`${silent} .more summary`);
  assert.match(await text(page, `${silent} .more`), /8 h/);
  await press("#quiet .take");
  await page.waitForSelector("#alarm-d1-nest-cold-", { state: "detached" });
  assert.equal(await page.evaluate(() => document.activeElement.closest("#quiet, #verdict") !== null), true, "the focus is lost with what was pressed");
  await shutBut(page, 401);
});

test("on its nest's card an alarm is acknowledged with one tap", async () => {
  const page = await open("kept", { hasTouch: true });
  const card = "#nest-b1 .stand >> nth=0";
  assert.match(await text(page, card), /Nest too hot\s*Nest air is 101\.1 °F[\s\S]*not seen\s*I have seen it/);
  await page.tap("#nest-b1 .take >> nth=0");
  await logIn(page);
  await said(page, "Saved: b1: Nest too hot – I have seen it");
  await page.waitForFunction(() => document.querySelector("#nest-b1 .stand .facts").textContent.endsWith("· seen"));
  await page.tap("#nest-b1 .take >> nth=0");
  await page.waitForFunction(() => /^1 urgent alarm still stands, seen at 3:42 PM on the page\./.test(document.querySelector("#verdict").textContent));
  assert.doesNotMatch(await page.getAttribute("#verdict", "class"), /chip-(none|blind|notice)/);
  await shutBut(page, 401);
});

test("nothing is shown as saved before the daemon says so, and a refusal is told in its words", async () => {
  const page = await open("kept", { room: "#/alarms" });
  let answer;
  await page.route("**/api/alarms/act", async (route) => answer(route));
  let arrived;
  const asked = new Promise((r) => (arrived = r));
  answer = arrived;
  await page.click(`${heat} .take`);
  const route = await asked;
  assert.match(await text(page, "#said"), /^Saving: b1/);
  assert.equal(await text(page, `${heat} .take`), "Saving…");
  await page.waitForTimeout(1500); // two more states arrive
  assert.match(await text(page, `${heat} .status`), /Nobody has seen it/);
  assert.equal(await text(page, `${heat} .take`), "Saving…");
  await page.locator(`${heat} .take`).dispatchEvent("click"); // once more, which is not for now
  await route.fulfill({ status: 422, contentType: "application/json", body: '{"error":"the archive cannot be written; look at the card"}' });
  await said(page, "Not saved: b1: Nest too hot – I have seen it. The archive cannot be written; look at the card");
  assert.match(await text(page, `${heat} .status`), /Nobody has seen it/);
  answer = (r) => r.abort();
  await page.click(`${heat} .take`);
  await said(page, "It may be saved or not");
  answer = (r) => r.fulfill({ status: 200, contentType: "application/json", body: '{"o' });
  await page.click(`${heat} .take`);
  await said(page, "It may be saved or not");
  answer = (r) => r.continue();
  await page.click(`${heat} .take`);
  await page.waitForSelector("dialog[open]");
  await page.keyboard.press("Escape");
  await said(page, "Nobody logged in.");
  await page.screenshot({ path: join(shots, "not-saved-390.png") });
  await audit(page, "axe-core");
  await page.click("#doors [data-room=now]");
  await page.waitForSelector("#room-now:not([hidden])");
  assert.equal(await text(page, "#said"), "", "bad news lie over another room");
  page.wrongs = page.wrongs.filter((w) => !w.includes("ERR_FAILED"));
  await shutBut(page, 401, 422);
});

test("the phone is tested, what happened is listed, and logging out ends it", async () => {
  const page = await open("kept", { room: "#/alarms", theme: "dark" });
  await page.click("#past summary");
  await page.waitForSelector("#past .past li");
  assert.match(await text(page, "#past .past"), /b1: Nest too hot\s*Urgent, began or grew worse[\s\S]*d1: Nest air cold\s*over/);
  await page.click("#past button >> text=Test my phone");
  await logIn(page);
  await page.waitForSelector("#past .tested li");
  assert.match(await text(page, "#past .tested"), /mobile: sent\. Look whether it arrived\.\s*post: not sent\. the server does not answer/);
  await page.screenshot({ path: join(shots, "past-390-dark.png"), fullPage: true });
  await audit(page, "axe-core");
  await page.route("**/api/alarms/test", (r) => r.fulfill({ status: 422, contentType: "application/json", body: '{"error":"there is no channel"}' }));
  await page.click("#past button >> text=Test my phone");
  await said(page, "Not sent: There is no channel");
  await page.unrouteAll();
  await page.reload();
  await page.click("#past button >> text=Log out");
  await page.waitForSelector("#past button >> text=Log out", { state: "hidden" });
  await page.click(`${heat} .take`);
  await page.waitForSelector("dialog[open]");
  await page.keyboard.press("Escape");
  await shutBut(page, 401, 422);
});

test("without a password nothing can be pressed, and one sentence says why", async () => {
  const page = await open("kept", { room: "#/alarms", at: bare });
  await page.waitForSelector("#past .locked:not([hidden])");
  assert.match(await text(page, "#past .locked"), /Nothing can be changed from this page while it has no password\. Whoever keeps nestmon can give it one on the board\./);
  assert.equal(await page.locator(".alarm .buttons button, #room-alarms .take").evaluateAll((all) => all.filter((b) => b.offsetParent).length), 0);
  await audit(page, "axe-core");
  await shut(page);
});

test("at a name in the house, over plain HTTP, where a browser says less of where it comes from", async () => {
  const at = address.replace("127.0.0.1", "barn.local");
  const page = await open("kept", { room: "#/alarms", at });
  await page.click(`${heat} .take`);
  await logIn(page);
  await said(page, "Saved");
  await page.goto(`${at}answer/invented-token-of-a-message-0001`);
  await page.click(".take");
  await page.waitForSelector("text=Answered: you are on it.");
  await shutBut(page, 401);
});

for (const [width, theme, script] of [[320, "dark", false], [390, "light", true], [820, "dark", true]]) {
  test(`a message's link, ${width} px, ${theme}, ${script ? "with" : "without"} JavaScript`, async () => {
    fixture.stdin.write("mixed\n");
    const context = await browser.newContext({ viewport: { width, height: 640 }, colorScheme: theme, javaScriptEnabled: script, hasTouch: true, deviceScaleFactor: 2 });
    const page = await context.newPage();
    page.wrongs = [];
    page.on("console", (m) => ["error", "warning"].includes(m.type()) && page.wrongs.push(`console: ${m.text()}`));
    const link = `${address}answer/invented-token-of-a-message-0001`;
    for (let i = 0; i < 3; i++) await fetch(link); // a mail scanner
    await page.goto(link);
    assert.match(await text(page, "h1"), /URGENT b1: nest air 38\.4 °C/);
    if (script) await audit(page, "axe-core");
    const button = await page.locator(".take").boundingBox();
    assert.ok(button.height >= 80 && button.width >= width / 2 && button.y + button.height <= 640, `the button is at ${JSON.stringify(button)}`);
    assert.ok(await page.evaluate(() => document.documentElement.scrollWidth <= document.documentElement.clientWidth));
    await page.screenshot({ path: join(shots, `answer-${width}-${theme}.png`), fullPage: true });
    await page.tap(".take");
    await page.waitForSelector("text=Answered: you are on it.");
    if (script) await audit(page, "axe-core, answered");
    await page.screenshot({ path: join(shots, `answered-${width}-${theme}.png`), fullPage: true });
    assert.equal((await page.goto(link)).status(), 410);
    assert.match(await text(page, "main"), /This link was used already/);
    assert.equal((await page.goto(link.replace("0001", "0009"))).status(), 404);
    await page.goto(link.replace("0001", "0002"));
    const worse = page.waitForResponse((r) => r.request().method() === "POST");
    await page.tap(".take");
    assert.equal((await worse).status(), 409);
    await page.screenshot({ path: join(shots, `worse-${width}-${theme}.png`), fullPage: true });
    assert.match(await text(page, "main"), /It has got worse since this message\.\s*What has got worse was not acknowledged\.[\s\S]*it was a warning, and is urgent now/);
    await page.tap("a");
    await page.waitForURL(address);
    await shutBut(page, 404, 409, 410);
  });
}
