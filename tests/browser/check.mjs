// What a person sees, checked in headless Chromium against the scenes of ./fixture: values, words, ages, both themes and units, keyboard,
// contrast and names, no request to anybody else, no error in the console.
import assert from "node:assert/strict";
import { join } from "node:path";
import { test } from "node:test";
import { address, audit, browser, fixture, noSideways, open, shots, shut, text } from "./page.mjs";

// openDay opens a nest's day and waits until it is drawn.
async function openDay(page, nest) {
  await page.click(`#nest-${nest} .open`);
  await page.waitForSelector(`#nest-${nest} .chart canvas`);
}

for (const theme of ["light", "dark"]) {
  for (const [width, height] of [[390, 844], [320, 640], [1280, 800]]) {
    test(`mixed scene, ${width} px, ${theme}`, async () => {
      const page = await open("mixed", { width, height, theme });
      await page.screenshot({ path: join(shots, `mixed-${width}-${theme}-top.png`) });
      await openDay(page, "b1");
      await audit(page, "axe-core");
      assert.ok(await noSideways(page), "the page scrolls sideways");
      await page.screenshot({ path: join(shots, `mixed-${width}-${theme}.png`), fullPage: true });
      await shut(page);
    });
  }
}

test("every nest shows value, age, limits, litter and alarm, the most urgent first", async () => {
  const page = await open("mixed");
  assert.deepEqual(await page.locator("#nests h3").allInnerTexts(), ["b1", "b2", "d1", "a1", "c1"]);
  const b1 = await text(page, "#nest-b1");
  for (const want of ["Urgent", "metal box", "day 3", "6 kits born", "101.2", "°F", "over the limit", "cold < 68", "hot > 95", "9 s ago", "48 %", "Nest too hot", "101.2 °F · since 3:27 PM, 15 min · not seen"]) {
    assert.ok(b1.includes(want), `b1 lacks ${want}: ${b1}`);
  }
  assert.match(await text(page, "#nest-b2"), /no data[\s\S]*last 26 min ago[\s\S]*no probe[\s\S]*Not judged: heat, cold \(no nest-air probe\)\s*Not judged: chill \(no usable reading of the cluster\)/);
  assert.match(await text(page, "#nest-c1"), /no litter entered[\s\S]*Partly watched[\s\S]*no probe[\s\S]*under the hot limit[\s\S]*Not judged: chill \(no litter entered\)/);
  assert.match(await text(page, "#verdict"), /Go now: 1 urgent alarm\. 2 nests are not fully watched\./);
  assert.match(await text(page, "#alarms"), /Urgent[\s\S]*b1: Nest too hot[\s\S]*d1: Kits too cold[\s\S]*Seen at 3:12 PM/);
  assert.match(await text(page, "#chores"), /d1: Air the nest[\s\S]*9\.3 g\/m³, limit 8\.0 g\/m³[\s\S]*c1: Change bedding[\s\S]*a1: Inspect the nest/);
  assert.match(await text(page, "#blind"), /Probe b2-cluster: nothing for 26 min, does not answer[\s\S]*influx cannot be reached \(312 waiting\)\s*influx: dial tcp/);
  assert.match(await text(page, "#alarms"), /b2: Probe silent[\s\S]*26 min, limit 2 min/);
  assert.match(await text(page, "#outside"), /Outside, summer[\s\S]*96\.3 °F[\s\S]*31 %/);
  assert.match(await text(page, "#now"), /Sat, Jul 19, 2031, 3:42 PM/);
  await shut(page);
});

test("why an alarm is one is told where it is asked for", async () => {
  const page = await open("mixed");
  const why = page.locator("#alarms .why");
  assert.deepEqual(await why.evaluateAll((all) => all.map((d) => d.hidden)), [false, true, true], "only what has a rule is explained");
  assert.doesNotMatch(await text(page, "#alarms"), /Rule:/);
  await why.first().locator("summary").focus();
  await page.keyboard.press("Enter");
  assert.match(await text(page, "#alarms"), /Rule: nest air above the urgent limit for kits 3 days old for 10 min\.\s*Source: an invented table\./);
  await audit(page, "axe-core, with the reason open");
  await page.screenshot({ path: join(shots, "why-390.png"), fullPage: true });
  await page.waitForTimeout(1500); // two more states arrive
  assert.ok(await why.first().evaluate((d) => d.open), "it is shut by the next state");
  await shut(page);
});

test("the unit is remembered by the device and reaches the day", async () => {
  const page = await open("mixed");
  await openDay(page, "b1");
  await page.click("[data-unit=celsius]");
  assert.match(await text(page, "#nest-b1"), /38\.4[\s\S]*°C[\s\S]*hot > 35[\s\S]*Nest air: hot limit 35/);
  await page.reload();
  await page.waitForSelector("#nest-b1.is-urgent");
  assert.match(await text(page, "#nest-b1"), /38\.4[\s\S]*°C/);
  await shut(page);
});

test("the day has a table, and gaps stay gaps in it", async () => {
  const page = await open("mixed");
  await openDay(page, "b1");
  await page.click("#nest-b1 .plain");
  await page.waitForSelector("#nest-b1 tbody tr");
  assert.deepEqual(await page.locator("#nest-b1 thead th").allInnerTexts(), ["Time", "Cluster °F", "Nest air °F", "Outside °F"]);
  const rows = await page.locator("#nest-b1 tbody tr").allInnerTexts();
  assert.equal(rows.length, 24);
  assert.equal(rows.filter((r) => r.split("\t")[2] === "–").length, 2);
  await page.screenshot({ path: join(shots, "table-390.png"), fullPage: true });
  await audit(page, "axe-core");
  await shut(page);
});

test("a day that cannot be read says so", async () => {
  const page = await open("mixed");
  await page.click("#nest-d1 .open");
  await page.waitForFunction(() => document.querySelector("#nest-d1 .day .quiet").textContent.includes("archive cannot be read"));
  assert.equal(page.wrongs.length, 1, page.wrongs.join());
  assert.match(page.wrongs[0], /503/);
  await page.context().close();
});

test("calm says no alarm, and only when all is watched", async () => {
  const page = await open("calm");
  assert.equal(await text(page, "#verdict"), "No alarm. 2 nests, all fully watched.");
  assert.match(await text(page, "#nest-d1 .judged"), /Watched: heat, chill, cold\.\s*Not judged: wet bedding \(cold air/);
  assert.equal(await page.locator("#nest-d1 .judged .blind").count(), 0, "damp alone is no gap in the watch");
  assert.match(await text(page, "#blind"), /Every probe answers\. It never sees a single kit/);
  await page.screenshot({ path: join(shots, "calm-390.png"), fullPage: true });
  await audit(page, "axe-core");
  await shut(page);
});

test("a chore that cannot wait is an alarm, and a danger judged in part is a gap", async () => {
  const page = await open("late");
  assert.equal(await text(page, "#verdict"), "Look soon: 1 warning. 1 nest is not fully watched.");
  assert.match(await text(page, "#alarms"), /a1: Air the nest/);
  assert.match(await text(page, "#chores"), /a1: Inspect the nest/);
  assert.doesNotMatch(await text(page, "#chores"), /Air the nest/);
  assert.deepEqual(await page.locator("#nests .chip").allInnerTexts(), ["Warning", "Partly watched", "No alarm"]);
  assert.match(await text(page, "#nest-a1 .stands"), /Air the nest/);
  assert.match(await text(page, "#nest-b1 .judged .blind"), /Watched: chill \(by a fall of its warmth only: the probe lies badly\)/);
  assert.equal(await page.locator("#nest-c1 .judged .blind").count(), 0, "no kits, no gap");
  await audit(page, "axe-core");
  await shut(page);
});

test("a new installation claims nothing", async () => {
  const page = await open("fresh", { theme: "dark" });
  assert.equal(await text(page, "#verdict"), "No alarm. 1 nest is not fully watched.");
  assert.match(await text(page, "#nest-c1"), /no data[\s\S]*never any[\s\S]*Not judged: heat\s*Not judged: chill \(no litter entered\)/);
  assert.match(await text(page, "#blind"), /clock of the board is not set[\s\S]*Probe line w1: hangs since 14 s[\s\S]*Probe outside: nothing yet/);
  await page.screenshot({ path: join(shots, "fresh-390-dark.png"), fullPage: true });
  await audit(page, "axe-core");
  await shut(page);
});

test("thirty nests keep their order, and texts stay texts", async () => {
  const page = await open("crowd", { width: 1280, height: 900 });
  const names = await page.locator("#nests h3").allInnerTexts();
  assert.equal(names.length, 30);
  assert.deepEqual(names.slice(0, 3), ["row-17", "row-00", "row-01"]);
  assert.ok((await text(page, "#alarms")).includes("<img src=x"));
  assert.match(await text(page, "#chores > details > summary"), /6 more/);
  await page.screenshot({ path: join(shots, "crowd-1280.png") });
  await shut(page);
});

test("everything works from the keyboard, and new states do not steal the focus", async () => {
  const page = await open("mixed");
  for (let i = 0; i < 40; i++) {
    await page.keyboard.press("Tab");
    if (await page.evaluate(() => document.activeElement.closest("#nest-b1") && document.activeElement.classList.contains("open"))) break;
  }
  await page.keyboard.press("Enter");
  await page.waitForSelector("#nest-b1 .chart canvas");
  const word = await page.waitForEvent("response", { timeout: 100 }).catch(() => "none");
  assert.equal(word, "none", "an open day asks the archive again though no time has passed");
  fixture.stdin.write("calm\n");
  await page.waitForSelector(".verdict.chip-none");
  fixture.stdin.write("mixed\n");
  await page.waitForSelector("#nest-b1.is-urgent");
  await page.focus("#nest-a1 .open");
  await page.waitForResponse(() => true, { timeout: 1500 }).catch(() => {});
  assert.equal(await page.evaluate(() => document.activeElement.closest("article")?.id), "nest-a1");
  const small = await page.evaluate(() => [...document.querySelectorAll("button, summary")].filter((b) => b.offsetParent && (b.offsetHeight < 44 || b.offsetWidth < 44)).map((b) => b.textContent));
  assert.deepEqual(small, [], "targets under 44 px");
  await shut(page);
});

test("an alarm leads to its nest's day", async () => {
  const page = await open("mixed");
  await page.click("#alarms .go >> nth=0");
  await page.waitForSelector("#nest-b1 .chart canvas");
  assert.equal(await page.evaluate(() => document.activeElement.closest("article")?.id), "nest-b1");
  await shut(page);
});

test("an alarm's words stand once, and its nest leads to them", async () => {
  const page = await open("mixed");
  const all = await text(page, "body");
  assert.equal(all.split("thin the fur").length, 2, "the alarm's text does not stand once");
  await page.click("#nest-d1 .stands a");
  assert.match(await page.evaluate(() => document.activeElement.innerText), /d1: Kits too cold[\s\S]*scattered kits/);
  const height = await page.evaluate(() => document.documentElement.scrollHeight);
  console.log(`five nests on a phone: ${height} px`);
  await shut(page);
});

test("an open day follows a fast clock, and says when the archive lags", async () => {
  const page = await open("mixed");
  const newest = Date.parse("2031-07-19T21:42:10Z") / 1e3;
  await page.route("**/api/series?*", async (route) => {
    const answer = await route.fetch();
    const body = await answer.json();
    await route.fulfill({ response: answer, json: { ...body, points: body.points.filter((p) => p[0] < newest) } });
  });
  await page.clock.install();
  await page.reload();
  await openDay(page, "b1");
  assert.equal(await text(page, "#nest-b1 .until"), "");
  await page.clock.pauseAt(await page.evaluate(() => Date.now() + 1000)); // only the state's own time passes from here
  fixture.stdin.write("20m\n");
  await page.waitForFunction(() => document.querySelector("#nest-b1 .until").textContent.includes("Drawn until 3:37"));
  for (const seen = new Set(); seen.size < 3; ) seen.add(await page.waitForResponse("**/api/series?*").then((r) => new URL(r.url()).searchParams.get("to")));
  await page.clock.resume();
  await page.screenshot({ path: join(shots, "lag-390.png"), fullPage: true });
  await audit(page, "axe-core");
  fixture.stdin.write("mixed\n");
  await page.waitForFunction(() => document.querySelector("#nest-b1 .until").textContent === "");
  await page.unrouteAll({ behavior: "wait" });
  await shut(page);
});

test("an open day is read again after ten seconds", async () => {
  const page = await open("mixed");
  await page.clock.install();
  await page.reload();
  await openDay(page, "b1");
  let asked = 0;
  page.on("request", (r) => r.url().includes("/api/series") && asked++);
  fixture.stdin.write("1m\n");
  await page.waitForFunction(() => /3:4[4-6]/.test(document.querySelector("#now").textContent));
  assert.equal(asked, 0, "the day is read again at once");
  await page.clock.fastForward(10e3);
  await page.waitForResponse("**/api/series?*");
  await shut(page);
});

// oneState lets the page have one state, changed by change, and then cuts it off.
async function oneState(page, change) {
  const state = change(await (await fetch(`${address}api/state`)).json());
  let given = false;
  await page.route("**/api/state", (route) => route.abort());
  await page.route("**/api/stream", (route) => {
    if (given) return route.abort();
    given = true;
    return route.fulfill({ contentType: "text/event-stream", body: `event: state\nid: x\ndata: ${JSON.stringify(state)}\n\n` });
  });
}

test("a server that answers without measuring is old, and nothing is called fine", async () => {
  const page = await open("calm");
  await oneState(page, (s) => ({ ...s, published_ago_s: 4000 }));
  await page.reload();
  await page.waitForSelector("body.old");
  assert.match(await text(page, "#banner"), /newest measurement came 66 min ago/);
  assert.match(await text(page, "#verdict"), /Not known/);
  assert.deepEqual(await page.locator(".chip").allInnerTexts(), ["Not known", "Not known"]);
  await page.screenshot({ path: join(shots, "old-390.png") });
  await page.context().close();
});

test("what a program says of a failure comes after plain words", async () => {
  const page = await open("calm");
  const said = [
    ["mqtt", "mqtt 192.0.2.1:1883: cannot connect: network Error : dial tcp 192.0.2.1:1883: connect: connection refused; is the broker running and reachable?", "mqtt cannot be reached"],
    ["mqtt", "mqtt home: cannot connect: network Error : tls: failed to verify certificate: x509: certificate signed by unknown authority", "mqtt: its certificate is not trusted"],
    ["mqtt", "mqtt home: cannot connect: the broker refused the user name or password (not Authorized); check username and password_file", "mqtt refuses the name, password or key"],
    ["mqtt", "mqtt home: cannot connect: network Error : remote error: tls: certificate required; the broker may ask for a client certificate", "mqtt refuses the name, password or key"],
    ["mobile", "phone mobile: no answer in time", "mobile does not answer in time"],
    ["mqtt", "mqtt home: self check failed", "mqtt does not get through"],
  ].map(([sink, error, want], i) => ({ sink: sink + i, error, want: want.replace(sink, sink + i) }));
  await oneState(page, (s) => ({ ...s, sinks: said.map(({ sink, error }) => ({ sink, error, ok: false, pending: 0 })) }));
  await page.reload();
  await page.waitForSelector("#blind .blind");
  const lines = await page.locator("#blind .blind").evaluateAll((all) => all.map((li) => [li.querySelector("p").textContent, li.querySelector("small").textContent]));
  assert.deepEqual(lines, said.map(({ want, error }) => [want, error]));
  await page.context().close();
});

test("a broken stream is told within 15 s", async () => {
  const page = await open("calm");
  await page.clock.install();
  await oneState(page, (s) => s);
  await page.reload();
  await page.waitForSelector(".verdict.chip-none");
  assert.equal(await text(page, "#banner"), "");
  await page.clock.fastForward(14e3);
  await page.clock.runFor(1000);
  assert.match(await text(page, "#banner"), /No word from nestmon for 1[45] s/);
  assert.match(await text(page, "#verdict"), /Not known/);
  await page.context().close();
});

test("a state that cannot be drawn is never called fine", async () => {
  const page = await open("calm");
  await oneState(page, ({ nests, ...rest }) => ({ ...rest, probes: null }));
  await page.reload();
  await page.waitForSelector("#banner:not(:empty)");
  assert.match(await text(page, "#banner"), /cannot show what nestmon just sent/);
  assert.match(await text(page, "#verdict"), /Not known/);
  await page.context().close();
});

test("the first load is small", async () => {
  fixture.stdin.write("mixed\n");
  const context = await browser.newContext();
  const page = await context.newPage();
  const client = await context.newCDPSession(page);
  await client.send("Network.enable");
  let bytes = 0;
  client.on("Network.loadingFinished", (e) => (bytes += e.encodedDataLength));
  await page.goto(address);
  await page.waitForSelector("#nest-b1.is-urgent");
  await page.click("#nest-b1 .open");
  await page.waitForSelector("#nest-b1 .chart canvas");
  console.log(`first load with an open day: ${bytes} bytes`);
  assert.ok(bytes > 10e3 && bytes < 150e3, `${bytes} bytes`);
  await context.close();
});
