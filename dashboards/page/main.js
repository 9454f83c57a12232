// The page: one stream, one state, drawn whole whenever a new one arrives, and looked at every second for its age.
import { ask, begin, can } from "./act.js";
import { cardOf, makeCard, toggle, updateCard } from "./card.js";
import { el, keyed, setText } from "./dom.js";
import { bySeverity, updateAlarms, updateBattery, updateBlind, updateOutside, updateVerdict } from "./lists.js";
import { Push } from "./push.js";
import { updatePast } from "./past.js";
import { Stream } from "./stream.js";
import { texts } from "./texts.js";
import * as units from "./units.js";

const at = (id) => document.getElementById(id);
const oldAfter = 60; // s, until the state says better

let state = null;
let old = false; // what is shown is not the present
let undrawn = false; // the newest state could not be shown, so nothing on the page may be believed

function draw() {
  units.useSite(state.site);
  document.title = state.site.name ? `${state.site.name} – ${texts.title}` : texts.title;
  setText(at("site"), state.site.name || texts.title);
  setText(at("now"), texts.asOf(units.fullDate(Date.parse(state.time))));
  drawUnits();
  drawAlarms();
  updateBlind(at("blind"), state);
  updateOutside(at("outside"), state);
  updateBattery(at("battery"), state);
  at("rooms").hidden = state.nests.length === 0;
  setText(at("rooms-name"), texts.headings.nests);
  drawNests();
}

// drawAlarms is also called when something is being saved.
function drawAlarms() {
  updateAlarms(at("alarms"), at("quiet"), at("chores"), state, goTo);
  updatePast(at("past"), state);
  setText(at("foot"), texts.foot(state.version, state.started && units.dateAndClock(Date.parse(state.started))));
}

function drawNests() {
  const nests = [...state.nests].sort((a, b) => bySeverity(a.severity, b.severity)); // stable: equals stay as configured
  keyed(at("nests"), nests, (n) => n.id, makeCard, (node, n) => updateCard(node, n, state, old));
}

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
  redrawDays();
}

function redrawDays() {
  for (const node of at("nests").children) cardOf(node).day.again();
}

// goTo opens a nest's day and moves there.
function goTo(id) {
  const node = at(`nest-${id}`);
  if (!node) return;
  toggle(node, true);
  node.scrollIntoView({ block: "start" });
  node.querySelector(".open").focus({ preventScroll: true });
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
  document.body.classList.toggle("old", old);
  updateVerdict(at("verdict"), state, old);
  if (state && !undrawn && old !== before) drawNests();
}

// A new program brings a new page: load it, once for each.
function reloadIfReplaced() {
  const mine = document.querySelector("meta[name=nestmon-page]").content;
  try {
    if (state.page === mine || sessionStorage.getItem("nestmon.reloaded") === state.page) return;
    sessionStorage.setItem("nestmon.reloaded", state.page);
  } catch {
    return; // without a memory it might load for ever
  }
  location.reload();
}

begin(at("said"), () => state && !undrawn && drawAlarms());
let askedOf = null; // the start of the program that was asked what may be done; a new one may have another password

const stream = new Stream((s) => {
  state = s;
  if (askedOf !== s.started || !can.asked) {
    askedOf = s.started;
    ask();
  }
  undrawn = true;
  try {
    draw();
    undrawn = false;
  } finally {
    watch();
  }
  reloadIfReplaced();
});

const push = new Push(at("push"));
push.look();

updateVerdict(at("verdict"), null, false);
setInterval(() => {
  stream.tick();
  watch();
}, 1000);
document.addEventListener("visibilitychange", () => {
  if (document.hidden) return;
  watch();
  push.look();
});
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", redrawDays);
