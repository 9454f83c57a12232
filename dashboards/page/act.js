// What a person does: it is sent, and said to be saved when the daemon has stored it. Nothing is shown as done before that.
import { forget } from "./book/data.js";
import { el, setClass, setText, shape } from "./dom.js";
import { texts } from "./texts.js";

const patience = 15e3; // ms for the daemon to answer; it gives up after 10 s itself
const testPatience = 80e3; // ms for every channel to answer
const saidFor = 12e3; // ms that good news stay; bad news stay until something else is said

// can is what this browser may do, as the daemon last said.
export const can = { changes: false, logged_in: false, closed: false, asked: false };

const busy = new Map(); // key of what is being saved → the button's own key
let redraw = () => {};
let box = null;
let fading = 0;

export const isBusy = (key, button) => busy.get(key) === button;
export const anyBusy = (key) => busy.has(key);

// begin takes the element that says how it went, and what draws the page anew.
export function begin(node, draw) {
  box = node;
  redraw = draw;
}

let asking = false;

// ask learns what this browser may do.
export async function ask() {
  if (asking) return;
  asking = true;
  try {
    const answer = await fetch("api/session", { signal: AbortSignal.timeout(patience) });
    if (answer.ok) Object.assign(can, await answer.json(), { asked: true });
  } catch {
    return; // the next state asks again
  } finally {
    asking = false;
  }
  redraw();
}

// act sends one deed. key is what it is about, button which of its buttons was pressed, what how a person calls it. It returns the answer, or null.
export async function act(key, button, path, body, what, { wait = patience, saving = texts.doing.saving(what), saved = texts.doing.saved(what), failed = texts.doing.failed(what) } = {}) {
  if (busy.has(key)) return null;
  busy.set(key, button);
  say(saving, "");
  redraw();
  try {
    for (;;) {
      const { status, said } = await send(path, body, wait);
      if (status === 200) {
        can.logged_in = true;
        say(saved, "good");
        return said;
      }
      if (status !== 401) {
        say(texts.doing.refused(failed, sentence(String(said.error ?? status))), "bad");
        return null;
      }
      can.logged_in = false;
      if (!(await login())) {
        say(texts.doing.refused(failed, texts.doing.nobody), "bad");
        return null;
      }
      say(saving, "");
    }
  } catch {
    say(texts.doing.unknown(what), "bad");
    return null;
  } finally {
    busy.delete(key);
    redraw();
  }
}

// sentence begins what the daemon says with a capital letter.
export const sentence = (t) => t.charAt(0).toLocaleUpperCase(texts.locale) + t.slice(1);

async function send(path, body, wait) {
  const answer = await fetch(path, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body), signal: AbortSignal.timeout(wait) });
  let said = {};
  try {
    said = await answer.json();
  } catch (e) {
    if (answer.ok) throw e; // half an answer is none
  }
  return { status: answer.status, said };
}

// say writes how it went where it is seen and heard wherever the page is scrolled to, with a button beside it where there is one.
export function say(words, kind, button = null) {
  clearTimeout(fading);
  setClass(box, kind && `is-${kind}`);
  box.replaceChildren(...(kind === "bad" ? [shape("warning")] : kind === "good" ? [shape("none")] : []), el("span", { text: words }), ...(button ? [button] : []));
  if (kind === "good" || kind === "kept") fading = setTimeout(() => box.replaceChildren(), saidFor);
  if (kind === "bad") box.append(el("button", { type: "button", class: "undo", text: texts.doing.close, onclick: () => box.replaceChildren() }));
}

// hush takes bad news away: another room, or a question that they would cover, is what counts now.
export function hush() {
  if (box.classList.contains("is-bad")) box.replaceChildren();
}

export async function logout() {
  if ((await act("session", "logout", "api/logout", {}, texts.login.out, { saving: texts.login.trying, saved: texts.login.gone })) !== null) {
    can.logged_in = false;
    await forget();
    if (can.closed) location.reload(); // what is shown was for who had logged in
  }
  redraw();
}

// test tries every channel and tells of each in list.
export async function test(list) {
  list.replaceChildren();
  const said = await act("test", "test", "api/alarms/test", {}, texts.test.button, { wait: testPatience, saving: texts.test.trying, saved: texts.test.said, failed: texts.test.refused });
  if (said === null) return;
  const all = Object.entries(said.channels).sort(([a], [b]) => (a < b ? -1 : 1));
  list.replaceChildren(...(all.length === 0 ? [el("li", { text: texts.test.none })] : all.map(([name, wrong]) =>
    el("li", { class: wrong ? "blind" : "calm" }, shape(wrong ? "warning" : "none"), el("span", { text: wrong ? texts.test.failed(name, wrong) : texts.test.arrived(name) })))));
}

let dialog = null;

// login asks for the password until it is right or the person gives up.
export function login(reason = texts.login.why) {
  dialog ??= makeDialog();
  const { node, form, why, word, wrong } = dialog;
  setText(why, reason);
  word.value = "";
  setText(wrong, "");
  node.showModal();
  return new Promise((done) => {
    let right = false;
    form.onsubmit = async (e) => {
      e.preventDefault();
      setText(wrong, texts.login.trying);
      try {
        const { status, said } = await send("api/login", { password: word.value }, patience);
        right = can.logged_in = status === 200;
        setText(wrong, right ? "" : said.error ? texts.login.refused(said.error) : texts.login.failed);
      } catch {
        setText(wrong, texts.login.failed);
      }
      if (right) node.close();
      else word.select();
    };
    node.onclose = () => {
      word.value = "";
      done(right);
    };
  });
}

function makeDialog() {
  const word = el("input", { type: "password", id: "password", name: "password", autocomplete: "current-password", required: true, maxlength: "72", "aria-describedby": "login-wrong" });
  const why = el("p");
  const wrong = el("p", { id: "login-wrong", role: "alert" });
  const node = el("dialog", { "aria-labelledby": "login-name" });
  const form = el("form", {},
    el("h2", { id: "login-name", text: texts.login.heading }), why,
    el("input", { type: "text", name: "username", value: "nestmon", autocomplete: "username", hidden: true, "aria-label": texts.login.user }), // for what remembers passwords
    el("label", { for: "password", text: texts.login.password }), word, wrong,
    el("div", { class: "buttons" }, el("button", { type: "submit", class: "take", text: texts.login.in }), el("button", { type: "button", text: texts.login.cancel, onclick: () => node.close() })));
  node.append(form);
  document.body.append(node);
  return { node, form, why, word, wrong };
}
