// The page: one stream, one state, shown by the room that is open whenever a new one arrives, and looked at every second for its age.
import { ask, begin, can, hush } from "./act.js";
import { keepSending } from "./book/sending.js";
import { theme } from "./device.js";
import { shut } from "./door.js";
import { el, setText } from "./dom.js";
import { rank, updateVerdict } from "./lists.js";
import { count, currentRoom, openRooms } from "./rooms.js";
import { Stream } from "./stream.js";
import { texts } from "./texts.js";
import * as units from "./units.js";

const at = (id) => document.getElementById(id);
const oldAfter = 60; // s, until the state says better

let state = null;
let old = false; // what is shown is not the present
let undrawn = false; // the newest state could not be shown, so nothing on the page may be believed

function draw() {
  at("first")?.remove();
  standStill();
  units.useSite(state.site);
  const { name, room } = currentRoom();
  document.title = [name === "now" ? "" : texts.rooms[name], state.site.name, texts.title].filter(Boolean).join(" – ");
  setText(at("site"), state.site.name || texts.title);
  setText(at("now"), texts.asOf(units.fullDate(Date.parse(state.time))));
  drawUnits();
  const alarms = state.alarms.filter((a) => a.alarm && rank[a.severity] > rank.notice).length;
  count("alarms", alarms, texts.rooms.alarmCount(alarms));
  const due = state.alarms.filter((a) => a.chore && rank[a.severity] > 0).length;
  count("book", due, texts.rooms.choreCount(due));
  setText(at("foot"), texts.foot(state.version, state.started && units.dateAndClock(Date.parse(state.started))));
  room?.update(state, old);
}

const standStill = () => units.standStill(old && state ? Date.parse(state.time) : null);

function drawUnits() {
  const box = at("units");
  if (!box.firstElementChild) {
    box.setAttribute("aria-label", texts.units.label);
    for (const name of ["fahrenheit", "celsius"]) {
      box.append(el("button", { type: "button", "data-unit": name, text: texts.units[name], onclick: () => chooseUnit(name) }));
    }
  }
  for (const b of box.children) b.setAttribute("aria-pressed", String(b.dataset.unit === units.display()));
}

function chooseUnit(name) {
  units.choose(name);
  draw();
  redraw();
}

const redraw = () => currentRoom().room?.redraw?.();

// attempt draws, and lets nothing be believed that could not be drawn.
function attempt() {
  undrawn = true;
  try {
    draw();
    undrawn = false;
  } finally {
    watch();
  }
}

// watch says what cannot be trusted any more.
function watch() {
  const limit = (state?.site.old_after_s ?? oldAfter) * 1e3;
  const age = stream?.age ?? 0;
  const broken = stream?.broken ?? false;
  const stopped = state !== null && age > limit;
  let words = "";
  if (undrawn) words = texts.banner.undrawn;
  else if (broken) words = texts.banner.broken(units.span(stream.silence / 1e3));
  else if (stopped) words = texts.banner.old(units.span(age / 1e3));
  setText(at("banner"), words);
  const before = old;
  old = undrawn || broken || stopped;
  standStill();
  document.body.classList.toggle("old", old);
  if (old) at("first")?.remove();
  updateVerdict(at("verdict"), state, old);
  if (state && !undrawn && old !== before) currentRoom().room?.update(state, old);
}

// A new program brings a new page: load it, once for each.
function reloadIfReplaced() {
  const mine = document.querySelector("meta[name=nestmon-page]").content;
  try {
    if (state.page === mine || document.querySelector("dialog[open]") || sessionStorage.getItem("nestmon.reloaded") === state.page) return;
    sessionStorage.setItem("nestmon.reloaded", state.page);
  } catch {
    return; // without a memory it might load for ever
  }
  location.reload();
}

begin(at("said"), () => state && !undrawn && draw());
const sending = keepSending(at("main"));
let askedOf = null; // the start of the program that was asked what may be done; a new one may have another password

const stream = new Stream((s) => {
  state = s;
  sending.heard(s);
  if (askedOf !== s.started || !can.asked) {
    askedOf = s.started;
    ask();
  }
  try {
    attempt();
  } finally {
    reloadIfReplaced(); // also where the new program's state is one that this page cannot draw
  }
}, () => shut(at("verdict"), state !== null));

const skip = document.querySelector(".skip");
setText(skip, texts.rooms.skip);
skip.addEventListener("click", () => at("main").focus());
updateVerdict(at("verdict"), null, false);
const painted = new Map(); // the colours that each room was drawn in when it was left
let entered = "";
openRooms(at("main"), at("doors"), (name, words, room) => {
  if (entered !== name) hush();
  entered = name;
  if (name !== "now") at("first")?.remove();
  room.open?.(words, state);
  if (state) attempt();
  if ((painted.get(name) ?? theme()) !== theme()) room.redraw?.();
  painted.set(name, theme());
});
const settle = 3e3; // ms after the first look, which nothing may slow down; ours, no source
setTimeout(() => import("./lost.js").then((m) => m.watchPhone(at("main")), () => {}), settle);
setInterval(() => {
  stream.tick();
  watch();
}, 1000);
document.addEventListener("visibilitychange", () => {
  if (document.hidden) return;
  stream.tick();
  watch();
});
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", redraw);
