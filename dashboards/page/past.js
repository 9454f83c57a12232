// The way to a person, and what happened: a test of the phone, the last days' events, and the way out.
import { can, isBusy, logout, test } from "./act.js";
import { nameOf } from "./alarm.js";
import { el, keyed, setClass, setText } from "./dom.js";
import { texts } from "./texts.js";
import * as units from "./units.js";

const days = 7; // of events shown; ours, no source
const most = 200;

let state = null;
let parts = null;

function make(box) {
  const tested = el("ul", { class: "list tested" });
  parts = {
    locked: el("p", { class: "locked" }), tested, list: el("ul", { class: "past" }), note: el("p", { class: "quiet" }),
    test: el("button", { type: "button", onclick: () => test(tested) }), out: el("button", { type: "button", onclick: logout }),
  };
  const all = el("details", {}, el("summary", { text: texts.past.open(days) }), parts.note, el("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": texts.past.open(days) }, parts.list));
  all.addEventListener("toggle", () => all.open && read());
  box.append(el("h2", { text: texts.headings.past }), parts.locked, el("div", { class: "buttons" }, parts.test, parts.out), el("div", { role: "status" }, tested), all);
}

export function updatePast(box, newest) {
  state = newest;
  if (!parts) make(box);
  parts.locked.hidden = can.changes || !can.asked;
  setText(parts.locked, texts.locked);
  parts.test.hidden = !can.changes || !can.test;
  setText(parts.test, isBusy("test", "test") ? texts.doing.sending : texts.test.button);
  parts.out.hidden = !can.changes || !can.logged_in;
  setText(parts.out, texts.login.out);
  parts.test.parentElement.hidden = parts.test.hidden && parts.out.hidden;
}

async function read() {
  setText(parts.note, texts.graph.loading);
  try {
    const from = new Date(Date.parse(state.time) - days * 86400e3).toISOString();
    const answer = await fetch(`api/events?from=${encodeURIComponent(from)}&max=${most}`, { signal: AbortSignal.timeout(10e3) });
    const said = await answer.json();
    if (!answer.ok) throw new Error(said.error);
    draw(said.events);
  } catch (e) {
    setText(parts.note, texts.past.failed(e.message));
  }
}

function draw(events) {
  setText(parts.note, events.length === 0 ? texts.past.none : events.length === most ? texts.past.most(most) : "");
  keyed(parts.list, events.toReversed(), (e) => `${e.time}/${e.nest}/${e.event}/${e.probe}/${e.state}/${e.severity}`, () => el("li", {}, el("span", { class: "quiet" }), el("strong"), el("span")), (li, e) => {
    const [when, what, how] = li.children;
    setClass(li, `is-${e.severity}`);
    setText(when, units.dateAndClock(Date.parse(e.time)));
    setText(what, nameOf(e));
    setText(how, texts.past[e.state]?.(texts.severity[e.severity]) ?? e.state);
  });
}
