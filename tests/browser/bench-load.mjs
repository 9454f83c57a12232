// How long the page takes to show the first nest, what it weighs, and whether its memory grows over a day of states.
import { after, before, test } from "node:test";
import { address, barn, browser, fixture } from "./page.mjs";

const runs = 7;
const phone = { latency: 150, downloadThroughput: 1.6e6 / 8, uploadThroughput: 0.75e6 / 8, offline: false };

const clock = new Intl.DateTimeFormat("en-US", { timeZone: "America/Denver", hour: "numeric", minute: "2-digit" });

const median = (all) => all.toSorted((a, b) => a - b)[Math.floor(all.length / 2)];

// firstNest opens the page in a browser that has seen nothing and returns the ms until a nest's temperature is on the screen, the ms until the
// card is there that follows every new state, and the bytes that came.
async function firstNest(at, slow) {
  const context = await browser.newContext({ viewport: { width: 390, height: 844 }, deviceScaleFactor: 2 });
  const page = await context.newPage();
  const client = await context.newCDPSession(page);
  await client.send("Network.enable");
  let bytes = 0;
  client.on("Network.loadingFinished", (e) => (bytes += e.encodedDataLength));
  if (slow) {
    await client.send("Network.emulateNetworkConditions", phone);
    await client.send("Emulation.setCPUThrottlingRate", { rate: 4 });
  }
  await page.addInitScript(() => {
    new MutationObserver((_, o) => {
      if (!document.querySelector("#nests .card .number")) return;
      o.disconnect();
      requestAnimationFrame(() => (globalThis.live = performance.now()));
    }).observe(document, { childList: true, subtree: true });
  });
  await page.goto(at, { waitUntil: "commit" });
  const live = await (await page.waitForFunction(() => globalThis.live)).jsonValue();
  const ms = await page.evaluate(() => performance.getEntriesByName("first-contentful-paint")[0].startTime); // style sheet and first look are there by then
  const requests = await page.evaluate(() => performance.getEntriesByType("resource").length + 1);
  await context.close();
  return { ms, live, bytes, requests };
}

let thirty;
before(async () => (thirty = await barn("-nests", "30", "-days", "2", "-fine", "0")));
after(() => thirty.end());

test("first load", { timeout: 600e3 }, async () => {
  for (const [what, at] of [["five nests", address], ["thirty nests", thirty.at]]) {
    const slow = [];
    const quick = [];
    for (let i = 0; i < runs; i++) {
      quick.push(await firstNest(at, false));
      slow.push(await firstNest(at, true));
    }
    const [q, s] = [quick, slow].map((all) => ["ms", "live"].map((what) => median(all.map((r) => r[what])).toFixed(0)));
    console.log(`${what}: first nest after ${s[0]} ms and live after ${s[1]} ms on the slow phone, ${q[0]} and ${q[1]} ms without; ${slow[0].requests} requests, ${median(slow.map((r) => r.bytes))} bytes`);
  }
});

test("a day of states", { timeout: 600e3 }, async () => {
  fixture.stdin.write("crowd\n");
  const states = 2880; // of 24 hours, one every half minute
  let state;
  do state = await (await fetch(`${address}api/state`)).json(); while (state.nests.length !== 30);
  const context = await browser.newContext({ viewport: { width: 390, height: 844 }, locale: "en-US" });
  const page = await context.newPage();
  const client = await context.newCDPSession(page);
  let sent = 0;
  await page.addInitScript(() => {
    globalThis.EventSource = class extends EventTarget { // states come from here, not from the server
      readyState = 1;
      constructor() {
        super();
        globalThis.push = (data) => this.dispatchEvent(new MessageEvent("state", { data }));
      }
      close() {}
    };
  });
  await page.goto(address);
  await page.waitForFunction(() => globalThis.push);
  const send = () => {
    const time = new Date(Date.parse(state.time) + ++sent * 30e3).toISOString();
    for (const n of state.nests) for (const v of n.values) if (v.value !== null) v.value = 20 + Math.round(1e3 * Math.random()) / 100;
    return page.evaluate((data) => globalThis.push(data), JSON.stringify({ ...state, time, seq: state.seq + 1e6 * sent, alarms: sent % 3 ? state.alarms : [] }));
  };
  const heap = async () => {
    for (let i = 0; i < 3; i++) await client.send("HeapProfiler.collectGarbage");
    const { usedSize } = await client.send("Runtime.getHeapUsage");
    const { nodes, jsEventListeners } = await client.send("Memory.getDOMCounters");
    return `${(usedSize / 1e6).toFixed(2)} MB, ${nodes} nodes, ${jsEventListeners} listeners`;
  };
  const drawn = () => page.waitForFunction((words) => document.querySelector("#now").textContent.includes(words), clock.format(Date.parse(state.time) + sent * 30e3));
  const rooms = ["", "alarms", "probes", "settings", "book", "nest/row-00/7d", "compare/nests/row-00/row-01/7d"];
  const visit = async () => {
    for (const room of rooms) {
      await page.evaluate((r) => (location.hash = `#/${r}`), room);
      if (room.includes("/")) await page.locator(".room:not([hidden]) .chart canvas").first().waitFor(); // not waitForSelector, whose handle would keep what it found
      await page.waitForTimeout(300);
    }
    await page.evaluate(() => (location.hash = "#/"));
  };
  await visit();
  for (const part of [0.1, 0.4, 0.7, 1]) {
    while (sent < states * part) await send();
    await drawn();
    await visit();
    await page.waitForTimeout(1000);
    console.log(`after ${sent} states of thirty nests and a visit to every room: ${await heap()}`);
  }
  await context.close();
});
