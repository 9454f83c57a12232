// One alarm or chore: what is wrong, who has seen it, and what a person can do about it.
import { act, anyBusy, can, isBusy } from "./act.js";
import { el, keyed, setClass, setText, shape } from "./dom.js";
import { texts } from "./texts.js";
import * as units from "./units.js";
import { way } from "./ways.js";

// alarmID is where an alarm's whole text stands, in the lists above the nests.
const alarmID = (a) => `alarm-${a.nest ?? ""}-${a.event}-${a.probe ?? ""}`;

export const alarmKey = (a) => `${a.nest}/${a.event}/${a.probe}`;

const place = (a) => `${a.nest}/${a.event}`;

export const nameOf = (a) => `${a.nest ? `${a.nest}: ` : ""}${a.event === "" ? texts.everything : texts.event[a.event] ?? a.event}`;

export const sinceWords = (a, now) => texts.since(units.moment(Date.parse(a.since), now), units.span((now - Date.parse(a.since)) / 1e3));

// byWords is who brought an alarm where it is, empty where nobody did.
export const byWords = (a) => (a.by ? texts.ways[a.by] ?? texts.by(a.by) : "");

// statusWords says where an alarm stands between its condition and a person, and who brought it there.
function statusWords(a, now) {
  const when = (t) => units.moment(Date.parse(t), now);
  const by = byWords(a);
  switch (a.status) {
    case "unacknowledged":
      return texts.status.unacknowledged;
    case "acknowledged":
      return texts.status.acknowledged(a.acknowledged ? when(a.acknowledged) : "", by);
    case "returned-unacknowledged":
      return (a.latched ? texts.status.latched : texts.status.returned)(a.over ? when(a.over) : "");
    case "shelved":
      return texts.status.shelved(a.until ? when(a.until) : "", by);
    case "suppressed-by-design":
      return texts.status.suppressed(a.because ? texts.event[a.because] ?? a.because : "");
    case "out-of-service":
      return texts.status.out(by);
  }
  return a.status;
}

// What can be done from each status. The daemon refuses the rest.
const next = {
  unacknowledged: ["acknowledge", "shelve", "out-of-service"],
  acknowledged: ["shelve", "out-of-service"],
  "returned-unacknowledged": ["acknowledge", "shelve", "out-of-service"],
  shelved: ["unshelve", "shelve", "out-of-service"],
  "suppressed-by-design": ["shelve", "out-of-service"],
  "out-of-service": ["in-service"],
};

const shelves = [900, 3600, 28800]; // s: to look, to work there, for the day or the night; ours, no source

// deeds lists the buttons of an alarm: those at hand, and those behind one more tap.
function deeds(a) {
  if (!can.changes) return { first: [], more: [] };
  const first = [];
  const more = [];
  const to = (list, key, words, extra) => list.push({ key, words, strong: key === "acknowledge" || key === "done", path: "api/alarms/act", body: { action: key.split(" ")[0], nest: a.nest ?? "", event: a.event, ...extra } });
  for (const action of next[a.status] ?? []) {
    if (action === "acknowledge" && !a.chore) to(first, action, texts.actions.acknowledge, { since: a.since, time: a.time });
    else if (action === "unshelve" || action === "in-service") to(first, action, texts.actions[action]);
    else if (action === "shelve") for (const s of shelves.filter((x) => x <= a.longest_shelf_s)) to(more, `shelve ${s}`, texts.actions.shelve(s < 3600 ? texts.minute(s / 60) : texts.hour(s / 3600)), { for_s: s });
    else if (action === "out-of-service") to(more, action, texts.actions[action]);
  }
  if (a.chore && a.severity !== "none" && !a.over) first.unshift({ key: "done", words: texts.actions.done, strong: true, path: "api/chores/done", body: { nest: a.nest ?? "", event: a.event } });
  return { first, more };
}

const shown = new WeakMap();

export function makeAlarm(a) {
  const li = el("li", { id: alarmID(a), tabindex: "-1" },
    el("p", { class: "title" }), el("p", { class: "say" }), el("p", { class: "quiet" }), el("p", { class: "status" }), el("div", { class: "buttons" }),
    el("details", { class: "more" }, el("summary"), el("div", { class: "buttons" })),
    el("details", { class: "why" }, el("summary", { text: texts.why.open }), el("p"), el("p", { class: "quiet" })),
    el("a", { class: "go" }));
  return li;
}

export function updateAlarm(li, a, state, { quiet = false } = {}) {
  const [title, say, facts, status, first, more, why, go] = li.children;
  const now = Date.parse(state.time);
  shown.set(li, a);
  setClass(li, `alarm is-${quiet ? "quiet" : a.severity}`);
  const [name, mark, word] = [nameOf(a), quiet ? (a.status === "returned-unacknowledged" ? "notice" : "quiet") : a.severity, quiet ? texts.quiet[a.status] ?? a.status : texts.severity[a.severity]];
  if (title.dataset.text !== mark + word + name) {
    title.dataset.text = mark + word + name;
    title.replaceChildren(shape(mark), el("span", { class: "word", text: word }), el("strong", { text: name }));
  }
  setText(say, quiet && a.over ? "" : a.text);
  setText(facts, factsOf(a, now, quiet).join(" · "));
  const alone = !state.alarms.some((o) => o.nest === a.nest && o.event !== a.event && !o.chore);
  const words = a.chore && a.status === "unacknowledged" ? [] : [statusWords(a, now)];
  if (a.first && !alone && !quiet) words.push(texts.status.first);
  setText(status, words.join(" "));
  setClass(status, `status is-${a.status}`);
  const can = deeds(a);
  drawButtons(first, can.first, li, name);
  more.hidden = can.more.length === 0;
  setText(more.firstElementChild, texts.actions.more);
  more.firstElementChild.setAttribute("aria-label", `${texts.actions.more}: ${name}`);
  drawButtons(more.lastElementChild, can.more, li, name);
  why.hidden = a.rule === null && a.source === null;
  setText(why.children[1], a.rule === null ? "" : texts.why.rule(a.rule));
  setText(why.children[2], a.source === null ? "" : texts.why.source(a.source));
  go.hidden = !a.nest || quiet;
  if (!a.nest) return;
  go.href = way("nest", a.nest);
  setText(go, texts.nest.open(a.nest));
}

function factsOf(a, now, quiet) {
  if (a.severity === "none") return [];
  const facts = [];
  if (a.value !== null && a.limit !== null && !quiet) facts.push(texts.against(units.quantity(a.value, a.unit), units.quantity(a.limit, a.unit)));
  if (!a.over) facts.push(sinceWords(a, now));
  else if (a.over) facts.push(texts.stood(texts.severity[a.severity], units.moment(Date.parse(a.since), now), units.moment(Date.parse(a.over), now)));
  return facts;
}

// updateTake shows of an alarm only what is one tap away, in an element that shows nothing else.
export function updateTake(box, a) {
  shown.set(box, a);
  drawButtons(box, deeds(a).first, box, nameOf(a));
}

function drawButtons(box, list, li, name) {
  box.hidden = list.length === 0;
  keyed(box, list, (d) => d.key, (d) => el("button", { type: "button", onclick: () => press(li, d.key) }), (button, d) => {
    const key = place(shown.get(li));
    setClass(button, d.strong ? "take" : "");
    setText(button, isBusy(key, d.key) ? texts.doing.button : d.words);
    button.setAttribute("aria-label", `${button.textContent}: ${name}`);
    button.setAttribute("aria-disabled", String(anyBusy(key)));
  });
}

// press looks at what the alarm is now, not at what it was when the button was made.
function press(li, key) {
  const a = shown.get(li);
  const { first, more } = deeds(a);
  const d = [...first, ...more].find((x) => x.key === key);
  if (d) act(place(a), d.key, d.path, d.body, texts.doing.what(nameOf(a), d.words));
}
