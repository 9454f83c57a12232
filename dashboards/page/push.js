// "Alarms on this phone": signs this browser up for messages, where it can, and lists the phones that are. Nothing is shown where the daemon
// has no such channel.
import { el, setText } from "./dom.js";
import { texts } from "./texts.js";
import * as units from "./units.js";

const said = texts.push;
const cacheName = "nestmon-push"; // the worker's own word for it is the same

// ask sends JSON and returns the answer, or throws with words for a person.
async function ask(path, body) {
  const answer = await fetch(path, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) }).catch(() => null);
  if (!answer) throw new Error(said.unreachable);
  if (answer.ok) return;
  throw new Error(answer.status === 401 ? said.logIn : ((await answer.json().catch(() => null))?.error ?? answer.statusText));
}

const base64 = (buffer) => btoa(String.fromCharCode(...new Uint8Array(buffer))).replaceAll("+", "-").replaceAll("/", "_").replaceAll("=", "");

const bytes = (text) => Uint8Array.from(atob(text.replaceAll("-", "+").replaceAll("_", "/")), (c) => c.charCodeAt(0));

// idOf is the daemon's: by it a phone finds itself in the list, which has no endpoints.
const idOf = async (endpoint) => base64((await crypto.subtle.digest("SHA-256", new TextEncoder().encode(endpoint))).slice(0, 12));

// agent is this browser in two words.
function agent() {
  const first = (names) => names.find(([pattern]) => pattern.test(navigator.userAgent))?.[1];
  const browser = first([[/Firefox|FxiOS/, "Firefox"], [/Edg/, "Edge"], [/SamsungBrowser/, "Samsung Internet"], [/OPR/, "Opera"], [/Chrom|CriOS/, "Chrome"], [/Safari/, "Safari"]]);
  const system = first([[/Android/, "Android"], [/iPhone/, "iPhone"], [/iPad/, "iPad"], [/Windows/, "Windows"], [/Mac OS/, "Mac"], [/Linux|CrOS/, "Linux"]]);
  return [browser, system].filter(Boolean).join(", ");
}

// cannot is why this browser cannot be signed up, in one sentence; empty where it can.
function cannot() {
  if (!globalThis.isSecureContext) return said.insecure;
  if (!("serviceWorker" in navigator && "PushManager" in globalThis && "Notification" in globalThis)) return /iPhone|iPad/.test(navigator.userAgent) ? said.homeScreen : said.unable;
  if (Notification.permission === "denied") return said.denied;
  return "";
}

// ownOf is this browser's subscription as far as it has one, and whether the daemon knows it.
async function ownOf(registration, info) {
  const subscription = await registration.pushManager.getSubscription();
  if (!subscription) return null;
  const id = await idOf(subscription.endpoint);
  const phone = info.phones.find((p) => p.id === id && !p.gone);
  const key = subscription.options?.applicationServerKey;
  return { subscription, id, phone, known: Boolean(phone) && (!key || base64(key) === info.key) };
}

// lost reports whether this browser was signed up once, was not signed off, and is not called any more; null where that cannot be told just now.
export async function lost() {
  try {
    if (!(await (await caches.open(cacheName)).match("kept"))) return false;
    if (Notification.permission === "denied") return true;
    const answer = await fetch("api/push/key", { signal: AbortSignal.timeout(10e3) });
    if (!answer.ok) return null;
    const info = await answer.json();
    const registration = await navigator.serviceWorker.getRegistration();
    return info.key === null || !registration || !(await ownOf(registration, info))?.known;
  } catch {
    return null;
  }
}

export class Push {
  #box;
  #parts;
  #info = null;
  #registration = null;
  #own = null; // {subscription, id, known}

  constructor(box) {
    this.#box = box;
    const state = el("p", { id: "push-state" });
    const label = el("input", { id: "push-label", type: "text", maxlength: "40", autocomplete: "off", required: true });
    const form = el("form", { onsubmit: (e) => { e.preventDefault(); this.#do(() => this.#signUp(label.value)); } }, el("label", { for: "push-label", text: said.label }), label, el("button", { type: "submit", text: said.signUp }));
    const test = el("button", { type: "button", text: said.test, onclick: () => this.#do(() => this.#test()) });
    const off = el("button", { type: "button", text: said.signOff, onclick: () => this.#do(() => this.#signOff()) });
    const word = el("p", { role: "status", class: "quiet" });
    const list = el("ul", { class: "list" });
    box.append(el("h2", { text: said.heading }), state, form, el("p", { class: "buttons" }, test, off), word, el("details", {}, el("summary"), list));
    this.#parts = { state, form, label, test, off, word, list, all: box.lastElementChild };
  }

  // look asks the daemon and the browser how things stand, and shows it.
  async look() {
    const answer = await fetch("api/push/key").catch(() => null);
    if (!answer?.ok) return; // the page itself says what is wrong
    this.#info = await answer.json();
    if (this.#info.key === null) {
      this.#box.hidden = true;
      return;
    }
    let why = cannot();
    try {
      if (!why) await this.#findOwn();
    } catch (e) {
      why = said.failed(e.message);
    }
    this.#draw(why);
    this.#box.hidden = false;
  }

  async #findOwn() {
    this.#registration ??= await navigator.serviceWorker.register("sw.js", { updateViaCache: "none" });
    this.#own = null;
    this.#own = await ownOf(this.#registration, this.#info);
  }

  #draw(why) {
    const { state, form, label, test, off, list, all } = this.#parts;
    const known = !why && Boolean(this.#own?.known);
    setText(state, why || (known ? said.signedUp(this.#own.phone.label) : this.#own ? said.lost : said.notYet));
    state.classList.toggle("wrong", !why && !known && this.#own !== null);
    form.hidden = Boolean(why) || known;
    test.hidden = off.hidden = !known;
    if (!label.value) label.value = agent();
    all.hidden = this.#info.phones.length === 0;
    setText(all.firstElementChild, said.all(this.#info.phones.length));
    list.replaceChildren(...this.#info.phones.map((p) => this.#line(p)));
  }

  #line(p) {
    const when = (t) => units.dateAndClock(Date.parse(t));
    const facts = [p.agent, said.since(when(p.since)), p.gone ? said.gone(when(p.gone)) : p.last_ok ? said.lastOK(when(p.last_ok)) : said.neverOK];
    return el("li", { class: p.gone ? "wrong" : "" }, el("p", {}, el("strong", { text: p.label })), el("p", { class: "quiet", text: facts.filter(Boolean).join(" · ") }),
      el("button", { type: "button", text: said.takeOff(p.label), onclick: () => this.#do(() => ask("api/push/unsubscribe", { id: p.id })) }));
  }

  // #do does something a person asked for, says how it went, and looks again.
  async #do(deed) {
    const { word } = this.#parts;
    setText(word, said.wait);
    try {
      setText(word, (await deed()) ?? "");
    } catch (e) {
      setText(word, said.failed(e.message));
    }
    await this.look();
  }

  async #signUp(label) {
    if ((await Notification.requestPermission()) !== "granted") throw new Error(said.denied);
    const before = this.#own;
    await before?.subscription.unsubscribe(); // of another key pair, or unknown: a fresh one is sure
    await navigator.serviceWorker.ready;
    const subscription = await this.#registration.pushManager.subscribe({ userVisibleOnly: true, applicationServerKey: bytes(this.#info.key) });
    const { endpoint, keys } = subscription.toJSON();
    const kept = { label, agent: agent(), id: await idOf(endpoint) };
    await ask("api/push/subscribe", { endpoint, p256dh: keys.p256dh, auth: keys.auth, label, agent: kept.agent, replaces: before?.id ?? "" });
    const cache = await caches.open(cacheName); // for the worker, which may have to sign up anew by itself
    await cache.put("kept", new Response(JSON.stringify(kept)));
    return said.done;
  }

  async #test() {
    await ask("api/push/test", { endpoint: this.#own.subscription.endpoint });
    return said.tested;
  }

  async #signOff() {
    await ask("api/push/unsubscribe", { endpoint: this.#own.subscription.endpoint });
    await this.#own.subscription.unsubscribe();
    await (await caches.open(cacheName)).delete("kept");
    return said.off;
  }
}
