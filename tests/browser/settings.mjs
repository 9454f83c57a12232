// The room of settings in headless Chromium against the real daemon, whose past is a month of invented readings: a limit is changed in a draft,
// held against that month, put in force and taken back; what this device keeps; what is in force.
import assert from "node:assert/strict";
import { join } from "node:path";
import { after, before, test } from "node:test";
import { audit, barn, browser, noSideways, shots, shut, text } from "./page.mjs";

const password = "willow-7741";
let shed;

before(async () => (shed = await barn("-fine", "4")));
after(() => shed?.end());

async function settings({ width = 390, height = 844, theme = "light", at = shed.at, ...more } = {}) {
  const context = await browser.newContext({ viewport: { width, height }, colorScheme: theme, locale: "en-US", deviceScaleFactor: width < 500 ? 2 : 1, ...more });
  const page = await context.newPage();
  page.setDefaultTimeout(30000); // ends what hangs; other checks run at the same time
  page.wrongs = [];
  page.on("console", (m) => ["error", "warning"].includes(m.type()) && page.wrongs.push(`console: ${m.text()}`));
  page.on("pageerror", (e) => page.wrongs.push(`error: ${e.message}`));
  await page.goto(`${at}#/settings`);
  await page.waitForSelector("#limits table");
  await page.waitForFunction(() => document.querySelector("#device").textContent.includes("Log in"));
  return page;
}

const shot = (page, name, full = true) => page.screenshot({ path: join(shots, `settings-${name}.png`), fullPage: full });
const cell = (place, key, days) => `[data-cell="${place}/${key}/${days}"]`;
const hot = cell("nest_air", "heat_warn", "8-13");
const small = (page) => page.evaluate(() => [...document.querySelectorAll(".room:not([hidden]) :is(button, summary, input), dialog[open] :is(button, input)")].filter((b) => b.offsetParent && (b.offsetHeight < 44 || b.offsetWidth < 44)).map((b) => b.textContent || b.id));
const shutBut = (page, ...statuses) => {
  page.wrongs = page.wrongs.filter((w) => !statuses.some((s) => w.includes(`status of ${s}`)));
  return shut(page);
};

// draft writes one number, by keys alone.
async function draft(page, selector, value) {
  await page.focus(selector);
  await page.keyboard.press("Enter");
  await page.waitForSelector("dialog[open] #limit-value");
  await page.keyboard.press("Control+a");
  await page.keyboard.type(value);
  await page.keyboard.press("Enter");
}

async function logIn(page) {
  await page.waitForSelector("dialog[open] #password");
  await page.fill("#password", password);
  await page.keyboard.press("Enter");
}

test("a limit is changed with a look back, is in force, and goes back to the file's, by keys alone", async () => {
  const page = await settings();
  assert.equal(await text(page, hot), "84.2");
  await page.focus(hot);
  await page.keyboard.press("Enter");
  await page.waitForSelector("dialog[open]");
  await audit(page, "axe-core, with the editor");
  assert.deepEqual(await small(page), [], "targets under 44 px");
  assert.match(await text(page, "dialog[open]"), /Nest air, hot, days 8–13[\s\S]*A warning when it is above this for 20 min[\s\S]*In force: 84\.2 °F, as shipped\.[\s\S]*Source: nest-air table, days 8-13/);
  await shot(page, "editor-390-light", false);
  await page.fill("#limit-value", "95");
  await page.keyboard.press("Enter");
  await page.waitForFunction(() => document.querySelector("#limit-wrong").textContent === "It must be below “hot, urgent”, which is 93.2\u00a0°F.");
  await page.fill("#limit-value", "73.4");
  await page.keyboard.press("Enter");
  await page.waitForSelector("dialog", { state: "detached" });
  assert.equal(await page.evaluate(() => document.activeElement.dataset.cell), "nest_air/heat_warn/8-13", "the focus is lost");
  assert.match(await text(page, hot), /73\.4\s*draft/);
  assert.match(await text(page, ".draft"), /Draft: 1 change, not in force[\s\S]*Nest air, hot, days 8–13: 84\.2 °F → 73\.4 °F/);
  await page.focus("#limits-preview");
  await page.keyboard.press("Enter");
  await logIn(page);
  await page.waitForSelector("#preview .verdict-words");
  const result = await text(page, "#preview");
  assert.match(result, /\d+ alarms with the limits in force, \d+ of them urgent\. With the draft \d+, \d+ of them urgent\./);
  assert.match(result, /n2: Nest too hot\s+–\s+\d, \d+ h/);
  assert.match(result, /\d+ alarms? would come/);
  assert.match(result, /There was data in \d+ % of the hours; heat could be judged in \d+ %/);
  await page.click("#preview summary >> nth=0");
  assert.match(await text(page, "#preview .past"), /n2: Nest too hot\s*Warning · 7[345]\.\d °F, limit 73\.4 °F · /);
  await audit(page, "axe-core, with the look back");
  await page.locator("#preview").screenshot({ path: join(shots, "settings-preview-390-light.png") });
  await page.focus("#limits-force");
  await page.keyboard.press("Enter");
  await page.waitForFunction((h) => document.querySelector(h).textContent === "73.4 here", hot);
  assert.equal(await page.locator(".draft").isHidden(), true);
  await page.focus(hot);
  await page.keyboard.press("Enter");
  assert.match(await text(page, "dialog[open]"), /In force: 73\.4 °F, set here, /);
  await page.focus("dialog .back");
  await page.keyboard.press("Enter");
  assert.match(await text(page, ".draft"), /73\.4 °F → 84\.2 °F \(the file’s again\)/);
  await page.focus("#limits-force");
  await page.keyboard.press("Enter");
  await page.waitForFunction((h) => document.querySelector(h).textContent === "84.2", hot);
  await page.click(".more-changes summary");
  assert.match(await text(page, ".more-changes"), /73\.4 °F → 84\.2 °F \(the file’s again\)[\s\S]*84\.2 °F → 73\.4 °F/);
  await page.goto(`${shed.at}#/alarms`);
  await page.click("#journal summary");
  await page.selectOption("#past-kind", "act");
  await page.waitForFunction(() => document.querySelectorAll("#journal .past li").length === 2);
  assert.match(await text(page, "#journal .past"), /Limits\s*Nest air, hot, days 8–13: 73\.4 °F → 84\.2 °F \(the file’s again\), on the page[\s\S]*Limits\s*Nest air, hot, days 8–13: 84\.2 °F → 73\.4 °F, on the page/);
  await shutBut(page, 401);
});

test("what would be laxer than shipped asks once more, and says what it means", async () => {
  const page = await settings({ theme: "dark", hasTouch: true });
  await draft(page, cell("nest_air", "heat_critical", "0-3"), "97");
  await page.tap("#limits-force");
  await page.waitForSelector("dialog[open] .sure");
  assert.match(await text(page, "dialog[open]"), /Are you sure\?[\s\S]*Nest air, days 0–3: up to 97\.0 °F would raise no urgent alarm\. The shipped limit is 95\.0 °F\./);
  await audit(page, "axe-core");
  await shot(page, "sure-390-dark", false);
  await page.keyboard.press("Escape");
  assert.match(await text(page, ".draft"), /1 change, not in force/);
  await page.tap("#limits-force");
  await page.tap("dialog .sure");
  await logIn(page);
  await page.waitForFunction((c) => document.querySelector(c).textContent === "97 here", cell("nest_air", "heat_critical", "0-3"));
  await page.click("[data-unit=celsius]");
  assert.match(await text(page, cell("nest_air", "heat_critical", "0-3")), /36\.1\s*here/);
  await shutBut(page, 401);
});

test("the whole room in every size and both themes", async () => {
  const page = await settings({ width: 320, height: 640, theme: "dark" });
  await draft(page, hot, "70");
  for (const summary of await page.locator("#facts summary").all()) await summary.click();
  assert.match(await text(page, "#facts"), /Measured every\s*5 s\s*line 2 of the configuration[\s\S]*n1\s*wooden box · Cluster: n1-cluster · Nest air: n1-air\s*line \d+ of the configuration[\s\S]*Box in\s*days 27 to 29\s*as shipped[\s\S]*Unfrozen water\s*7 o’clock, 17 o’clock, below 32\.0 °F outside/);
  for (const [width, height, theme, audited] of [[320, 640, "dark", true], [390, 844, "light", false], [820, 1180, "light", true], [1280, 800, "dark", false]]) {
    await page.setViewportSize({ width, height });
    await page.emulateMedia({ colorScheme: theme });
    assert.ok(await noSideways(page), `the page scrolls sideways at ${width} px`);
    assert.deepEqual(await small(page), [], `targets under 44 px at ${width} px`);
    if (audited) await audit(page, `axe-core, ${width} px, ${theme}`);
    await shot(page, `${width}-${theme}`, false);
  }
  await shut(page);
});

test("colours and name are this device's, and kept", async () => {
  const page = await settings({ theme: "light" });
  const ground = () => page.evaluate(() => getComputedStyle(document.body).backgroundColor);
  const light = await ground();
  await page.click("[data-theme-name=dark]");
  const dark = await ground();
  assert.notEqual(dark, light);
  await page.fill("#device-name", "Anna’s phone");
  await page.keyboard.press("Tab");
  await page.reload();
  await page.waitForSelector("#limits table");
  assert.equal(await ground(), dark);
  assert.equal(await page.inputValue("#device-name"), "Anna’s phone");
  assert.equal(await page.evaluate(() => localStorage.getItem("nestmon.device")), "Anna’s phone");
  await page.click("[data-theme-name=system]");
  assert.equal(await ground(), light);
  await page.click("#device button >> text=Log in");
  await logIn(page);
  await page.waitForSelector("#device button >> text=Log out");
  await draft(page, cell("cluster", "chill_warn", "0-3"), "94");
  await page.click("#limits-force");
  await page.waitForFunction((c) => document.querySelector(c).textContent === "94 here", cell("cluster", "chill_warn", "0-3"));
  await page.click(".more-changes summary");
  assert.match(await text(page, ".more-changes li >> nth=0"), /Anna’s phone/);
  await page.click("#device button >> text=Log out");
  await page.waitForSelector("#device button >> text=Log in");
  await shutBut(page, 401);
});
