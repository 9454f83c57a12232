// How long a nest's graph takes from the tap to the drawn lines, among thirty nests with two years of readings: with what was read ahead, and
// without, where the network's round trip is in it.
import { after, before, test } from "node:test";
import { barn, browser } from "./page.mjs";

const runs = 9;
const network = { latency: 150, downloadThroughput: 1.6e6 / 8, uploadThroughput: 0.75e6 / 8, offline: false };
const median = (all) => all.toSorted((a, b) => a - b)[Math.floor(all.length / 2)];

let it;
before(async () => (it = await barn("-nests", "30", "-days", "730", "-fine", "90")), { timeout: 600e3 });
after(() => it.end());

// tap presses a button in the page, and returns the ms until the finest lines are on the screen.
const tap = (page, name) => page.evaluate((n) => new Promise((done) => {
  const began = performance.now();
  new PerformanceObserver((list, o) => {
    if (!list.getEntriesByName("graph-drawn").some((m) => m.startTime >= began)) return;
    o.disconnect();
    requestAnimationFrame(() => setTimeout(() => done(performance.now() - began)));
  }).observe({ type: "mark" });
  document.querySelector(`[data-do=${n}]`).click();
}), name);

// taps opens a nest and returns the medians for a week and for two years.
async function taps({ cpu, slow, ahead }) {
  const [week, all] = [[], []];
  for (let i = 0; i < runs; i++) {
    const context = await browser.newContext({ viewport: { width: 390, height: 844 }, deviceScaleFactor: 2 });
    const page = await context.newPage();
    if (!ahead) await page.addInitScript(() => Object.defineProperty(navigator, "connection", { value: { saveData: true } }));
    const client = await context.newCDPSession(page);
    await page.goto(`${it.at}#/nest/n${1 + (i % 20)}`);
    await page.waitForSelector(".chart canvas");
    await page.waitForTimeout(ahead ? 4000 : 500);
    await client.send("Network.enable");
    if (slow) await client.send("Network.emulateNetworkConditions", network);
    await client.send("Emulation.setCPUThrottlingRate", { rate: cpu });
    week.push(await tap(page, "week"));
    await page.waitForTimeout(1500);
    all.push(await tap(page, "all"));
    await context.close();
  }
  return `week ${median(week).toFixed(0)} ms, two years ${median(all).toFixed(0)} ms`;
}

test("from the tap to the lines", { timeout: 1200e3 }, async () => {
  for (const [what, how] of Object.entries({
    "no limits": { cpu: 1, slow: false, ahead: false },
    "processor / 4": { cpu: 4, slow: false, ahead: false },
    "processor / 4, read ahead": { cpu: 4, slow: false, ahead: true },
    "processor / 4, 1.6 Mbit/s and 150 ms": { cpu: 4, slow: true, ahead: false },
    "processor / 4, 1.6 Mbit/s and 150 ms, read ahead": { cpu: 4, slow: true, ahead: true },
  })) console.log(`${what}: ${await taps(how)}`);
});

test("what the server takes and sends", async () => {
  const now = Date.parse((await (await fetch(`${it.at}api/state`)).json()).time);
  for (const [name, days] of [["hour", 1 / 24], ["day", 1], ["week", 7], ["month", 30], ["two years", 730]]) {
    const took = [];
    let [plain, zipped] = [0, 0];
    for (let i = 0; i < runs; i++) {
      const ask = `${it.at}api/nest?${new URLSearchParams({ nest: "n2", from: new Date(now - days * 86400e3).toISOString(), to: new Date(now).toISOString(), buckets: 320 })}`;
      const began = performance.now();
      const answer = await fetch(ask, { headers: { "accept-encoding": "gzip" } });
      plain = (await answer.arrayBuffer()).byteLength;
      took.push(performance.now() - began);
      zipped = Number(answer.headers.get("content-length"));
    }
    console.log(`${name}: ${took[0].toFixed(1)} ms at first, ${median(took).toFixed(1)} ms median; ${zipped} bytes of ${plain}`);
  }
});
