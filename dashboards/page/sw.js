// The worker shows what is pushed to this phone, also while the page is closed. Whatever comes, it shows something: a browser takes the
// subscription away from a page that does not. A worker cannot import texts.js in every browser, so the daemon writes its few words here.
//
// It keeps the page's files as well, so that the page opens in a barn without a network. What the daemon says, under api/, is never kept: an old
// state must not pass for a new one.
const words = "@WORDS@";

const isText = (x) => typeof x === "string" && x !== "";

const hash = "@HASH@";
const files = ["@FILES@"];
const shell = `nestmon-page-${hash}`;
const networkFor = 3e3; // ms that the network has to bring the page before the kept one is shown; ours, no source

self.addEventListener("install", (event) => {
  self.skipWaiting();
  event.waitUntil(keep());
});
self.addEventListener("activate", (event) => event.waitUntil(Promise.all([self.clients.claim(), forget()])));

// keep gets all files of this page. One that came from another program would not fit the others.
async function keep() {
  const index = await fetch("./?empty", { cache: "no-store" }); // without the state of this moment
  if (!index.ok || !(await index.clone().text()).includes(`content="${hash}"`)) throw new Error("replaced");
  const cache = await caches.open(shell);
  await cache.addAll(files.map((file) => `static/${hash}/${file}`));
  await cache.put("./", index);
}

async function forget() {
  for (const name of await caches.keys()) {
    if (name.startsWith("nestmon-page-") && name !== shell) await caches.delete(name);
  }
}

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || !url.href.startsWith(self.registration.scope)) return;
  const path = url.href.slice(self.registration.scope.length).replace(/[?#].*/, "");
  if (path === "") event.respondWith(page(event.request));
  else if (path.startsWith(`static/${hash}/`)) event.respondWith(kept(event.request));
});

// page is the newest there is: from the daemon while it answers, else as it was kept.
async function page(request) {
  const own = await caches.match("./", { cacheName: shell });
  if (!own) return fetch(request);
  try {
    const answer = await fetch(request, { signal: AbortSignal.timeout(networkFor) });
    if (answer.status < 500) return answer; // also where somebody has to log in
  } catch {
    // out of range
  }
  return own;
}

const kept = async (request) => (await caches.match(request, { cacheName: shell })) ?? fetch(request);

self.addEventListener("push", (event) => {
  let message;
  try {
    message = event.data.json();
  } catch {
    message = null;
  }
  event.waitUntil(show(message));
});

// show names the message's subject as its tag, so that a later one about the same takes its place.
async function show(message) {
  const read = isText(message?.title) ? message : { ...words.unread, again: true };
  const tag = isText(read.tag) ? read.tag : "nestmon";
  const options = {
    body: isText(read.body) ? read.body : "", tag, renotify: read.again === true, requireInteraction: read.stays === true,
    icon: "static/@HASH@/icon-512.png", data: { link: isText(read.link) ? read.link : "" },
  };
  const at = Date.parse(read.time);
  if (!Number.isNaN(at)) options.timestamp = at;
  try {
    await self.registration.showNotification(read.title, options);
  } catch {
    await self.registration.showNotification(read.title, { body: options.body, tag });
  }
}

self.addEventListener("notificationclick", (event) => {
  event.notification.close();
  event.waitUntil(open(event.notification.data?.link));
});

async function open(link) {
  const page = self.registration.scope;
  if (/^https?:\/\//.test(link ?? "")) return self.clients.openWindow(link);
  const all = await self.clients.matchAll({ type: "window", includeUncontrolled: true });
  const mine = all.find((c) => c.url.startsWith(page));
  return mine ? mine.focus() : self.clients.openWindow(page);
}

// A browser may change the subscription by itself. Then the daemon must have the new one, or a person must know.
self.addEventListener("pushsubscriptionchange", (event) => event.waitUntil(renew(event)));

async function renew(event) {
  try {
    const at = (path) => new URL(path, self.registration.scope);
    const { key } = await (await fetch(at("api/push/key"))).json();
    const sub = event.newSubscription ?? (await self.registration.pushManager.subscribe({ userVisibleOnly: true, applicationServerKey: Uint8Array.from(atob(key.replaceAll("-", "+").replaceAll("_", "/")), (c) => c.charCodeAt(0)) }));
    const { endpoint, keys } = sub.toJSON();
    const kept = await (await (await caches.open("nestmon-push")).match(at("kept")))?.json();
    const answer = await fetch(at("api/push/subscribe"), {
      method: "POST", headers: { "Content-Type": "application/json" },
      body: JSON.stringify({ endpoint, p256dh: keys.p256dh, auth: keys.auth, label: kept.label, agent: kept.agent, replaces: kept.id }),
    });
    if (!answer.ok) throw new Error(answer.statusText);
  } catch {
    await show({ ...words.lost, again: true, stays: true });
  }
}
