// What the browser tests share: a fixture, a browser, and how a page is opened, audited by axe-core (WCAG 2.2 A and AA, rules tagged so by
// axe-core 4.14.1) and shut.
import assert from "node:assert/strict";
import { spawn } from "node:child_process";
import { mkdirSync, readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { createInterface } from "node:readline";
import { after, before } from "node:test";
import { chromium } from "playwright-core";

const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
export const shots = process.env.NESTMON_SHOTS;
mkdirSync(shots, { recursive: true });

export let fixture, address, bare, closed, browser; // bare is the page without a password, closed the one that shows nothing without

before(async () => {
  fixture = spawn(process.env.FIXTURE, { stdio: ["pipe", "pipe", "inherit"] });
  for await (const line of createInterface({ input: fixture.stdout })) {
    if (bare) {
      closed = line;
      break;
    }
    if (address) bare = line;
    else address = line;
  }
  browser = await chromium.launch({
    executablePath: process.env.CHROMIUM,
    args: ["--host-resolver-rules=MAP barn.local 127.0.0.1", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"],
  });
  if (process.env.NESTMON_UNSEEN) { // nobody looks at the pictures, and taking them is work
    const begin = browser.newContext.bind(browser);
    browser.newContext = async (...how) => (await begin(...how)).on("page", (page) => (page.screenshot = async () => {}));
  }
});

after(async () => {
  await browser?.close();
  fixture?.stdin.end("stop\n");
});

// open shows a scene and returns the page; whatever it does wrong is in page.wrongs.
export async function open(scene, { at = address, width = 390, height = 844, theme = "light", room = "", ...more } = {}) {
  fixture.stdin.write(`${scene}\n`);
  const context = await browser.newContext({ viewport: { width, height }, colorScheme: theme, locale: "en-US", deviceScaleFactor: width < 500 ? 2 : 1, ...more });
  const page = await context.newPage();
  page.setDefaultTimeout(30000); // ends what hangs; other checks run at the same time
  page.wrongs = [];
  page.on("console", (m) => ["error", "warning"].includes(m.type()) && page.wrongs.push(`console: ${m.text()} ${m.location().url}`));
  page.on("pageerror", (e) => page.wrongs.push(`error: ${e.message}`));
  page.on("request", (r) => new URL(r.url()).origin !== new URL(at).origin && page.wrongs.push(`elsewhere: ${r.url()}`));
  await page.goto(at + room);
  const marks = { mixed: /Go now: 1 urgent alarm\. Not watched/, kept: /2 alarms are shelved/, calm: /^No alarm\. 2 nests/, fresh: /^Not watched: c1\./, alone: /Nobody is called/, crowd: /^1 notice/, late: /^Go now: 1 nest/ };
  const shown = page.locator("#verdict", { hasText: marks[scene] }).and(page.locator("body:has(.room:not([hidden])) #verdict"));
  await (at === closed ? page.locator("dialog[open]") : shown).waitFor().catch((e) => assert.fail(`${e.message}\n${page.wrongs.join("\n")}`));
  return page;
}

export async function audit(page, what) {
  await page.evaluate(axe);
  const found = await page.evaluate(() => globalThis.axe.run(document, { runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"] }));
  const told = found.violations.map((v) => `${v.id}: ${v.nodes.map((n) => `${n.target} ${n.any[0]?.message ?? ""}`).join(" | ")}`);
  assert.deepEqual(told, [], what);
}

export async function shut(page) {
  assert.deepEqual(page.wrongs, []);
  await page.context().close();
}

export const text = async (page, selector) => (await page.locator(selector).innerText()).replaceAll("\u00a0", " ");
export const noSideways = (page) => page.evaluate(() => document.documentElement.scrollWidth <= document.documentElement.clientWidth);

// barn starts the real daemon with invented probes, readings and litters, as ./barn describes, and returns its page's address, tell to speak to it,
// and end.
export async function barn(...args) {
  const it = spawn(process.env.BARN, args, { stdio: ["pipe", "pipe", "inherit"] });
  const ended = new Promise((done) => it.on("exit", done));
  const at = await new Promise((done, fail) => {
    createInterface({ input: it.stdout }).once("line", done);
    ended.then((code) => fail(new Error(`barn ended with ${code}`)));
  });
  return { at, tell: (line) => it.stdin.write(`${line}\n`), end: () => (it.stdin.end("stop\n"), ended) };
}
