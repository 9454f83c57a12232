// What is to do: overdue, today, day by day after that, and what was done lately.
import { el, keyed, setClass, setText } from "../dom.js";
import { texts } from "../texts.js";
import * as units from "../units.js";
import { fetched } from "./data.js";
import { openForm } from "./form.js";
import { now, press, queue } from "./queue.js";
import { dateOf, dayWords, hourOf, stepWords } from "./words.js";

const said = texts.book;

// updateTasks shows tasks in groups.
export function updateTasks(box, tasks) {
  keyed(box, groups(tasks), (g) => g.key, makeGroup, updateGroup);
}

function groups(tasks) {
  const out = [];
  const into = (key, words, t) => {
    let g = out.find((x) => x.key === key);
    if (!g) out.push((g = { key, words, tasks: [] }));
    g.tasks.push(t);
  };
  for (const t of tasks) {
    if (t.state === "coming") into(dateOf(Date.parse(t.from)), dayWords(Date.parse(t.from)), t);
    else into(t.state, said.tasks[t.state], t);
  }
  return out.sort((a, b) => rank(a.key) - rank(b.key) || (a.key < b.key ? -1 : 1));
}

const rank = (key) => ({ overdue: 0, today: 1, done: 3 })[key] ?? 2;

function makeGroup(g) {
  if (g.key !== "done") return el("section", { class: `group is-${g.key}` }, el("h3"), el("ul", { class: "list" }));
  return el("details", { class: "group" }, el("summary"), el("ul", { class: "list" }));
}

function updateGroup(node, g) {
  setText(node.firstElementChild, g.key === "overdue" || g.key === "today" ? said.tasks.count(g.words, g.tasks.length) : g.words);
  keyed(node.lastElementChild, g.tasks, taskKey, makeTask, updateTask);
}

const taskKey = (t) => `${t.nest ?? ""} ${t.event} ${t.done ?? t.from}`;
const nameOf = (t) => `${t.nest ? `${t.nest}: ` : ""}${texts.event[t.event] ?? t.event}`;

const shown = new WeakMap();

function makeTask() {
  const li = el("li", {}, el("p", { class: "title" }, el("strong")), el("p", { class: "quiet" }), el("p", { class: "say" }), el("div", { class: "buttons" }),
    el("details", { class: "why" }, el("summary"), el("p"), el("p"), el("p", { class: "quiet" })));
  li.querySelector(".buttons").addEventListener("click", (e) => {
    const button = e.target.closest("button");
    if (button) deeds(shown.get(li)).find((d) => d.key === button.dataset.key)?.does();
  });
  return li;
}

function updateTask(li, t) {
  shown.set(li, t);
  const [title, when, words, buttons, why] = li.children;
  setClass(li, `task is-${t.state}`);
  setText(title.firstElementChild, nameOf(t));
  const waiting = waits(t);
  setText(when, [whenWords(t), ...(waiting ? [said.tasks.onWay[waiting.state] ?? ""] : [])].filter(Boolean).join(" · "));
  const near = t.state === "overdue" || t.state === "today"; // what comes later is a list of days first
  setText(words, near ? t.text : "");
  keyed(buttons, deeds(t), (d) => d.key, () => el("button", { type: "button" }), (b, d) => {
    setText(b, d.words);
    setClass(b, d.strong ? "take" : "");
    b.dataset.key = d.key;
    b.setAttribute("aria-label", `${d.words}: ${nameOf(t)}`);
  });
  buttons.hidden = buttons.children.length === 0;
  setText(why.children[0], near ? texts.why.open : said.tasks.what);
  setText(why.children[1], near ? "" : t.text);
  setText(why.children[2], t.rule ? texts.why.rule(t.rule) : "");
  setText(why.children[3], t.source ? texts.why.source(t.source) : "");
}

function whenWords(t) {
  const at = (time) => momentOf(Date.parse(time));
  if (t.state === "done") return said.tasks.doneAt(at(t.done));
  const words = [Date.parse(t.from) <= now() ? said.tasks.since(at(t.from)) : said.tasks.from(at(t.from))];
  if (t.late && t.late !== t.from) words.push((t.state === "overdue" ? said.tasks.lateSince : said.tasks.lateFrom)(at(t.late)));
  if (t.daily) words.push(said.tasks.daily);
  return words.join(", ");
}

// momentOf leaves the first instant of a day unsaid.
const momentOf = (t) => (hourOf(t) === 0 && t % 3600e3 === 0 ? dayWords(t) : units.moment(t, now()));

// waits is the send that does this task and is not stored yet.
const waits = (t) => queue.items.find((i) => i.state !== "unusual" && i.rows.some((r) => r.chore === t.event && (r.nest ?? null) === t.nest || shows(t) !== undefined && r.what === shows(t) && i.nest === t.nest));

const shows = (t) => fetched.forms?.shows[t.event];

function deeds(t) {
  if (t.state === "done") return t.entry ? [{ key: "undo", words: said.tasks.undo, does: () => strike(t) }] : [];
  if (waits(t)) return [];
  const what = shows(t);
  const enter = what && { key: what, words: stepWords(what), strong: true, does: () => openForm({ kind: "entry", what, litter: t.litter, nest: t.nest }) };
  if (t.state === "coming") return enter ? [{ ...enter, strong: false }] : [{ key: "done", words: said.tasks.early, does: () => done(t) }];
  return [...(enter ? [enter] : []), { key: "done", words: enter ? said.tasks.onlyDone : said.tasks.doneButton, strong: !enter, does: () => done(t) }];
}

function done(t) {
  const at = t.nest ? { nest: t.nest } : {};
  press({ rows: [{ what: "did", chore: t.event, ...at, ...(t.litter ? { litter: String(t.litter) } : {}) }], what: texts.doing.what(nameOf(t), said.tasks.doneButton), nest: t.nest, litter: t.litter });
}

function strike(t) {
  press({ rows: [{ what: "struck", replaces: String(t.entry) }], what: said.queue.struck(nameOf(t)), nest: t.nest, litter: t.litter, undoable: false });
}
