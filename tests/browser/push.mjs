// Web Push from the daemon's channel to what a phone shows. The push service is a server of this test; it opens what arrives with http_ece and
// with node's own crypto, neither of them ours. What it opened is handed to headless Chromium's service worker by the DevTools protocol, as a
// push service would, since no push service of a browser's maker can be reached from here: only PushManager.subscribe is a stand-in.
import assert from "node:assert/strict";
import { spawn } from "node:child_process";
import { createECDH, createPublicKey, randomBytes, verify } from "node:crypto";
import { mkdirSync, mkdtempSync, readFileSync, rmSync } from "node:fs";
import { createServer, request } from "node:https";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { createInterface } from "node:readline";
import { after, before, test } from "node:test";
import ece from "http_ece";
import { chromium } from "playwright-core";

const dir = mkdtempSync(join(tmpdir(), "pushed-"));
const shots = process.env.NESTMON_SHOTS;
mkdirSync(shots, { recursive: true });

let fixture, answers, where, service, base, browser, session;
const status = {}; // by path
const got = []; // {path, headers, bytes, message}
const phones = {}; // path: {ecdh, auth}
const waiting = [];

before(async () => {
  fixture = spawn(process.env.PUSHED, [dir], { stdio: ["pipe", "pipe", "inherit"] });
  answers = createInterface({ input: fixture.stdout })[Symbol.asyncIterator]();
  where = JSON.parse((await answers.next()).value);
  service = createServer({ cert: readFileSync(where.cert), key: readFileSync(where.key) }, async (req, res) => {
    const parts = [];
    for await (const part of req) parts.push(part);
    const body = Buffer.concat(parts);
    const phone = phones[req.url];
    const code = status[req.url] ?? (phone ? 201 : 404);
    const call = { path: req.url, method: req.method, headers: req.headers, bytes: body.length, code };
    if (phone) call.message = JSON.parse(ece.decrypt(body, { version: "aes128gcm", privateKey: phone.ecdh, authSecret: phone.auth.toString("base64url") }));
    got.push(call);
    res.writeHead(code).end();
    waiting.splice(0).forEach((wake) => wake());
  });
  await new Promise((listening) => service.listen(0, "localhost", listening));
  base = `https://localhost:${service.address().port}`;
  session = (await post("api/login", { password: where.password }, "")).cookie;
});

after(async () => {
  await browser?.close();
  fixture?.stdin.end();
  service?.close();
  service?.closeAllConnections();
  rmSync(dir, { recursive: true, force: true });
});

// phone makes what a browser has when it subscribes.
function phone(path) {
  const ecdh = createECDH("prime256v1");
  phones[path] = { ecdh, auth: randomBytes(16) };
  return { endpoint: base + path, p256dh: ecdh.generateKeys("base64url"), auth: phones[path].auth.toString("base64url") };
}

function post(path, body, cookie = `nestmon-session=${session}`) {
  return new Promise((done, failed) => {
    const text = JSON.stringify(body);
    const req = request(new URL(path, where.page), { method: "POST", ca: readFileSync(where.cert), headers: { "Content-Type": "application/json", Cookie: cookie } }, async (res) => {
      let said = "";
      for await (const part of res) said += part;
      done({ status: res.statusCode, said, cookie: /nestmon-session=([^;]+)/.exec(res.headers["set-cookie"] ?? "")?.[1] });
    });
    req.on("error", failed);
    req.end(text);
  });
}

async function send(message) {
  fixture.stdin.write(`${JSON.stringify(message)}\n`);
  return JSON.parse((await answers.next()).value);
}

const urgent = (id, more = {}) => ({
  ID: id, Time: "2031-07-19T21:42:10Z", Title: "URGENT: nest b1 too hot, 101.2 °F (38.4 °C)", Body: "Shade the nest.\nLimit: 95.0 °F (35.0 °C)", Link: "https://willow-bend.example/answer/tk-1",
  Event: { nest: "b1", event: "nest-heat", state: "raised", severity: "urgent" }, ...more,
});

test("http_ece reads the standard's example", () => { // RFC 8291, section 5, as the public tests of several libraries hold it; the RFC was not read
  const ecdh = createECDH("prime256v1");
  ecdh.setPrivateKey(Buffer.from("q1dXpw3UpT5VOmu_cf_v6ih07Aems3njxI-JWgLcM94", "base64url"));
  const body = "DGv6ra1nlYgDCS1FRnbzlwAAEABBBP4z9KsN6nGRTbVYI_c7VJSPQTBtkgcy27mlmlMoZIIgDll6e3vCYLocInmYWAmS6TlzAC8wEqKK6PBru3jl7A_yl95bQpu6cVPTpK4Mqgkf1CXztLVBSt2Ks3oZwbuwXPXLWyouBWLVWGNWQexSgSxsj_Qulcy4a-fN";
  assert.equal(String(ece.decrypt(Buffer.from(body, "base64url"), { version: "aes128gcm", privateKey: ecdh, authSecret: "BTBZMqHH6r4Tts7J_aSIgg" })), "When I grow up, I want to be a watermelon");
});

test("nothing is delivered to nobody, and nobody signs up without the door", async () => {
  const said = await send(urgent("m-0"));
  assert.match(said.error, /nobody has signed up; open the page on the phone/);
  assert.ok(said.misconfigured);
  assert.equal((await post("api/push/subscribe", { ...phone("/x"), label: "Ada" }, "")).status, 401);
  assert.equal(got.length, 0);
});

test("what arrives is encrypted, signed, bounded and replaces what came before", async () => {
  const began = Date.now() / 1e3;
  assert.equal((await post("api/push/subscribe", { ...phone("/wp/ada"), label: "Ada" })).said, '{"ok":true}');
  for (const id of ["m-1", "m-2"]) assert.deepEqual(await send(urgent(id)), { error: "", misconfigured: false, complaint: "" });
  const other = { nest: "a1", event: "cluster-chill", state: "raised", severity: "warning" };
  assert.equal((await send(urgent("m-3", { Event: other, Body: "Cover the kits. ".repeat(1000) }))).error, "");
  const [first, again, warning] = got.splice(0);
  const { id, title, body, tag, link, stays } = first.message;
  assert.deepEqual({ id, title, body, tag, link, stays }, { id: "m-1", title: urgent("").Title, body: urgent("").Body, tag: "b1-nest-heat", link: urgent("").Link, stays: true });
  for (const call of [first, again, warning]) {
    assert.equal(call.method, "POST");
    assert.equal(call.headers["content-encoding"], "aes128gcm");
    assert.ok(call.bytes <= 4096 && call.bytes > 1000, `${call.bytes} bytes`);
    assert.ok(Number(call.headers.ttl) >= 3600, `TTL ${call.headers.ttl}`);
    assert.equal(call.headers.urgency, "high");
    assert.match(call.headers.topic, /^[A-Za-z0-9_-]{1,32}$/); // RFC 8030, 5.4
  }
  assert.equal(first.headers.topic, again.headers.topic);
  assert.notEqual(first.headers.topic, warning.headers.topic);
  assert.match(warning.message.body, /^(Cover the kits\. ){50,}.*…$/);

  const [, token, key] = /^vapid t=([^,]+), ?k=([^,]+)$/.exec(first.headers.authorization); // RFC 8292, 3
  const raw = Buffer.from(key, "base64url");
  assert.equal(raw.length, 65);
  assert.equal(JSON.parse(await keyOf()).key, key, "a browser is told another key than the one that signs");
  const jwk = { kty: "EC", crv: "P-256", x: raw.subarray(1, 33).toString("base64url"), y: raw.subarray(33).toString("base64url") };
  const [head, claims, signature] = token.split(".");
  assert.ok(verify("sha256", Buffer.from(`${head}.${claims}`), { key: createPublicKey({ key: jwk, format: "jwk" }), dsaEncoding: "ieee-p1363" }, Buffer.from(signature, "base64url")), "the signature");
  const decoded = (part) => JSON.parse(Buffer.from(part, "base64url"));
  assert.equal(decoded(head).alg, "ES256");
  const { aud, exp, sub } = decoded(claims);
  assert.deepEqual({ aud, sub }, { aud: base, sub: "mailto:keeper@willow-bend.example" });
  assert.ok(exp > began && exp <= Date.now() / 1e3 + 12 * 3600, `good for ${(exp - began) / 3600} h`);
  assert.equal(again.headers.authorization, first.headers.authorization, "a token is made for every message");
});

const keyOf = () => new Promise((done, failed) => {
  request(new URL("api/push/key", where.page), { ca: readFileSync(where.cert) }, async (res) => {
    let said = "";
    for await (const part of res) said += part;
    done(said);
  }).on("error", failed).end();
});

test("410 takes the phone off, and is told", async () => {
  await post("api/push/subscribe", { ...phone("/wp/bo"), label: "Bo" });
  status["/wp/bo"] = 410;
  const said = await send(urgent("m-4"));
  assert.equal(said.error, "");
  assert.match(said.complaint, /the phone "Bo" is no longer subscribed: open the page there and sign up again/);
  got.splice(0);
  await send(urgent("m-5"));
  assert.deepEqual(got.splice(0).map((c) => c.path), ["/wp/ada"]);
  const text = await keyOf();
  assert.match(text, /"label":"Bo".*"gone":"2/);
  assert.doesNotMatch(text, /\/wp\/|auth|p256/);
});

// browse opens the page as a phone would: in a profile of its own that lasts.
async function browse(script, args) {
  const context = (browser ??= await chromium.launchPersistentContext(join(dir, "profile"), {
    executablePath: process.env.CHROMIUM, viewport: { width: 390, height: 844 }, locale: "en-US",
    args: ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync", `--ignore-certificate-errors-spki-list=${where.spki}`],
  }));
  await context.grantPermissions(["notifications"], { origin: new URL(where.page).origin });
  const page = await context.newPage();
  page.setDefaultTimeout(30000);
  if (script) await page.addInitScript(script, args);
  const wrongs = [];
  page.on("pageerror", (e) => wrongs.push(e.message));
  await page.goto(`${where.page}#/settings`);
  await page.waitForSelector("#push:not([hidden])");
  return { context, page, wrongs };
}

const text = async (page, selector) => (await page.locator(selector).innerText()).replaceAll("\u00a0", " ");

test("a phone signs up on the page, is called, shows what was sent, and signs off", async () => {
  const ours = phone("/wp/cleo");
  // A stand-in for the browser maker's push service alone: keys and endpoint are those a browser would give.
  const { context, page, wrongs } = await browse((given) => {
    const subscription = () => ({ endpoint: given.endpoint, options: {}, toJSON: () => ({ endpoint: given.endpoint, keys: { p256dh: given.p256dh, auth: given.auth } }), unsubscribe: async () => (localStorage.removeItem("signed"), true) });
    PushManager.prototype.getSubscription = async () => (localStorage.getItem("signed") ? subscription() : null);
    PushManager.prototype.subscribe = async (options) => {
      if (!options.userVisibleOnly || options.applicationServerKey.length !== 65) throw new Error("not as a browser wants it");
      localStorage.setItem("signed", "yes");
      return subscription();
    };
  }, ours);
  assert.equal(await text(page, "#push-state"), "This phone is not signed up.");
  await page.fill("#push-label", "Cleo’s phone");
  await page.click("#push button[type=submit]");
  await page.waitForFunction(() => document.querySelector("#push [role=status]").textContent.includes("log in on this page first"));
  await context.addCookies([{ name: "nestmon-session", value: session, url: where.page }]);
  await page.reload(); // the browser has subscribed, the daemon does not know: that must be seen
  await page.waitForFunction(() => document.querySelector("#push-state")?.textContent.includes("No alarm reaches this phone"));
  await page.fill("#push-label", "Cleo’s phone");
  await page.click("#push button[type=submit]");
  await page.waitForFunction(() => document.querySelector("#push-state")?.textContent === "Signed up as Cleo’s phone.");
  await page.click("#push summary");
  assert.match(await text(page, "#push .list"), /Ada[\s\S]*last called[\s\S]*Cleo’s phone[\s\S]*never called yet[\s\S]*Bo[\s\S]*no longer signed up/);
  assert.deepEqual(await page.evaluate(() => [...document.querySelectorAll("#push button, #push input, #push summary")].filter((b) => b.offsetParent && b.offsetHeight < 44).map((b) => b.textContent)), [], "targets under 44 px");
  await page.screenshot({ path: join(shots, "push-390.png"), fullPage: true });

  const worker = await page.evaluate(async () => (await navigator.serviceWorker.ready).active.scriptURL);
  assert.equal(worker, `${where.page}sw.js`);
  const cdp = await context.newCDPSession(page);
  const registered = new Promise((done) => cdp.on("ServiceWorker.workerRegistrationUpdated", ({ registrations }) => registrations.length && done(registrations[0].registrationId)));
  await cdp.send("ServiceWorker.enable");
  const registrationId = await registered;
  const deliver = (data) => cdp.send("ServiceWorker.deliverPushMessage", { origin: new URL(where.page).origin, registrationId, data });
  const shown = () => page.evaluate(async () => (await (await navigator.serviceWorker.ready).getNotifications()).map((n) => ({ title: n.title, body: n.body, tag: n.tag, link: n.data?.link, stays: n.requireInteraction, again: n.renotify })));
  const until = async (fits, what) => {
    for (let tries = 0; tries < 200; tries++) {
      const all = await shown();
      if (fits(all)) return all;
      await page.waitForTimeout(100);
    }
    assert.fail(`${what}: ${JSON.stringify(await shown())}`);
  };

  got.splice(0);
  await page.click("text=Call it now, as a test");
  await page.waitForFunction(() => document.querySelector("#push [role=status]").textContent.startsWith("Sent."));
  const [trial] = got.splice(0);
  assert.equal(trial.path, "/wp/cleo");
  await deliver(JSON.stringify(trial.message));
  await until((all) => all.some((n) => n.tag === "test" && n.title === "Test: this phone can be called" && n.body.includes("Cleo’s phone")), "the test");

  const calls = async (message) => {
    assert.equal((await send(message)).error, "");
    const call = got.splice(0).find((c) => c.path === "/wp/cleo");
    await deliver(JSON.stringify(call.message));
  };
  await calls(urgent("m-6"));
  const [heat] = (await until((all) => all.some((n) => n.tag === "b1-nest-heat"), "the alarm")).filter((n) => n.tag === "b1-nest-heat");
  assert.deepEqual(heat, { title: urgent("").Title, body: urgent("").Body, tag: "b1-nest-heat", link: urgent("").Link, stays: true, again: true });
  await calls(urgent("m-7", { Kind: "repeat", Title: "STILL URGENT: nest b1" }));
  await until((all) => all.filter((n) => n.tag === "b1-nest-heat").map((n) => n.title).join() === "STILL URGENT: nest b1", "a repeat takes its place");

  for (const broken of ["", "not JSON", "null", "7", '{"title":7}', '{"title":"x","tag":"","time":"never","stays":"yes"}']) {
    await page.evaluate(async () => (await (await navigator.serviceWorker.ready).getNotifications()).forEach((n) => n.close()));
    await until((all) => all.length === 0, "closed");
    await deliver(broken);
    const right = (all) => all.length === 1 && all[0].title !== "" && (broken.includes('"x"') || all[0].body.includes("cannot be read"));
    await until(right, `shown for ${broken}`).catch(() => deliver(broken)); // once, on a busy machine, the protocol handed over nothing
    await until(right, `shown for ${broken}`);
  }

  // The browser changes the subscription by itself: the worker tells the daemon, or says that no alarm comes any more.
  const [sw] = context.serviceWorkers();
  const changed = (to) => sw.evaluate((given) => renew({ newSubscription: { toJSON: () => ({ endpoint: given.endpoint, keys: { p256dh: given.p256dh, auth: given.auth } }) } }), to); // renew is sw.js's
  await changed(phone("/wp/cleo-2"));
  assert.equal((await send(urgent("m-8"))).error, "");
  assert.deepEqual(got.splice(0).map((c) => c.path).sort(), ["/wp/ada", "/wp/cleo-2"], "the new address takes the old one's place");
  await context.clearCookies();
  await changed(phone("/wp/cleo-3"));
  await until((all) => all.some((n) => n.title === "No alarm reaches this phone any more"), "the loss");
  await context.addCookies([{ name: "nestmon-session", value: session, url: where.page }]);

  await page.reload();
  await page.waitForFunction(() => document.querySelector("#push-state")?.textContent.includes("No alarm reaches this phone"));
  await page.click("#doors [data-room=now]");
  await page.waitForSelector("#lost:not([hidden])");
  assert.match(await text(page, "#lost"), /No alarm reaches this phone any more/);
  await page.click("#lost");
  await page.click("#push button[type=submit]");
  await page.waitForFunction(() => document.querySelector("#push-state")?.textContent.startsWith("Signed up as"));
  await page.click("text=Sign off");
  await page.waitForFunction(() => document.querySelector("#push-state")?.textContent === "This phone is not signed up.");
  await page.click("#doors [data-room=now]");
  await page.waitForSelector("#lost", { state: "hidden" }); // it was asked for
  assert.deepEqual(wrongs, []);
  await page.close();
});

test("where it is not possible the page says why", async () => {
  const { page, wrongs } = await browse(() => Object.defineProperty(globalThis, "isSecureContext", { value: false }));
  assert.match(await text(page, "#push-state"), /^Not possible here: it needs this page to be opened over https/);
  assert.equal(await page.locator("#push form").isVisible(), false);
  assert.deepEqual(wrongs, []);
  await page.close();
});
