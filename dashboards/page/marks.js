// What happened, as a mark on a graph and as a line in a list: each kind has a shape of its own, and words.
import { el, keyed, setClass, setText } from "./dom.js";
import { texts } from "./texts.js";
import * as units from "./units.js";

// Outlines in a box of 16, filled by the even-odd rule.
const shapes = {
  urgent: "M8 .5 16 15H0z",
  warning: "M8 0 16 8 8 16 0 8z",
  notice: "M8 1a7 7 0 1 0 0 14A7 7 0 0 0 8 1z",
  birth: "M8 0 10 5.6 16 6 11.4 9.8 13 15.6 8 12.4 3 15.6 4.6 9.8 0 6 6 5.6z",
  loss: "M3 0 8 5 13 0 16 3 11 8 16 13 13 16 8 11 3 16 0 13 5 8 0 3z",
  litter: "M1.5 1.5h13v13h-13z",
  season: "M4 1h8l4 7-4 7H4L0 8z",
  opened: "M1 1h14v14H1zM4.5 4.5v7h7v-7z",
  done: "M0 9 3 6 6 9 13 1 16 4 6 15z",
  note: "M3 0h10v16H3zM6 3v2h4V3zM6 7v2h4V7z",
  chore: "M0 1h16L8 15.5zM4.8 4 8 9.6 11.2 4z",
  visit: "M8 1a7 7 0 1 0 0 14A7 7 0 0 0 8 1zM8 4.5a3.5 3.5 0 1 1 0 7 3.5 3.5 0 0 1 0-7z",
};
// The kinds as package past orders them: the most important of several at one place is drawn, and the others are counted there.
const weights = ["urgent", "birth", "loss", "warning", "litter", "season", "notice", "opened", "done", "note", "chore", "visit"];
const ownPlace = 4; // of the kinds: they give way only to their like
const reach = 34; // px in which a lesser mark goes to another's place: the number beside that needs them. Ours, no source
const covers = 14; // px in which two of one kind would cover each other

// gather brings marks together that would crowd each other, by where each lies in px: [{x, marks}], of each place the most important first, and
// among equals the first of the list.
export function gather(marks, xOf) {
  const places = [];
  for (const mark of marks.toSorted((a, b) => weights.indexOf(a.kind) - weights.indexOf(b.kind))) {
    const x = xOf(mark);
    const own = weights.indexOf(mark.kind) < ownPlace;
    const near = places.filter((p) => (own ? p.marks[0].kind === mark.kind && Math.abs(p.x - x) < covers : Math.abs(p.x - x) < reach)).sort((a, b) => Math.abs(a.x - x) - Math.abs(b.x - x))[0];
    if (near) near.marks.push(mark);
    else places.push({ x, marks: [mark] });
  }
  return places;
}

const colours = { urgent: "--urgent", warning: "--warning", notice: "--notice" };

const paths = new Map();

export const pathOf = (kind) => {
  if (!paths.has(kind)) paths.set(kind, new Path2D(shapes[kind] ?? shapes.note));
  return paths.get(kind);
};
export const colourOf = (kind) => colours[kind] ?? "--text";

function markShape(kind) {
  const ns = "http://www.w3.org/2000/svg";
  const svg = document.createElementNS(ns, "svg");
  svg.setAttribute("viewBox", "0 0 16 16");
  svg.setAttribute("class", `mark-shape of-${kind}`);
  svg.setAttribute("aria-hidden", "true");
  const path = document.createElementNS(ns, "path");
  path.setAttribute("d", shapes[kind] ?? shapes.note);
  path.setAttribute("fill-rule", "evenodd");
  svg.append(path);
  return svg;
}

export const keyOf = (m) => `${m.kind}/${m.at}/${m.event ?? ""}/${m.what ?? ""}/${m.probe ?? ""}/${m.text ?? ""}`;

// nameOf says what happened in a few words, with the value where that tells more.
export function nameOf(m) {
  if (m.what) return m.text.charAt(0).toUpperCase() + m.text.slice(1);
  const name = texts.event[m.event] ?? m.event;
  const kind = ["urgent", "warning", "notice"].includes(m.kind) ? `${texts.severity[m.kind]}: ${name}` : name;
  return m.kind === "chore" ? texts.graph.dueThen(name) : kind;
}

export function whenOf(m, now) {
  const at = m.at * 1e3;
  const when = (m.day ? units.day : units.dayAndClock)(at, now);
  if (m.on) return texts.graph.since(when);
  return m.until === null || m.until - m.at < 60 ? when : texts.graph.lasted(when, units.span(m.until - m.at));
}

const shownFirst = 12; // in the list; the others are a tap away. Ours, no source

// MarkList is the list below a graph. pick is called with the mark that was tapped.
export class MarkList {
  #all = false;
  #marks = [];

  constructor(pick) {
    this.pick = pick;
    this.list = el("ul", { class: "events" });
    this.none = el("p", { class: "quiet" });
    this.left = el("p", { class: "quiet" });
    this.more = el("button", { type: "button", class: "plain", onclick: () => ((this.#all = true), this.update(this.#marks, this.left.textContent, this.selected, this.now)) });
    this.node = el("section", { class: "happened" }, el("h3", { text: texts.graph.happened }), this.none, this.list, this.more, this.left);
  }

  update(marks, left, selected, now) {
    [this.#marks, this.selected, this.now] = [marks, selected, now];
    const newest = marks.toReversed();
    const shown = this.#all ? newest : newest.slice(0, shownFirst);
    const picked = newest.find((m) => keyOf(m) === selected);
    if (picked && !shown.includes(picked)) shown.push(picked);
    keyed(this.list, shown, keyOf, (m) => this.#make(m), (li, m) => {
      li.mark = m;
      const [go, why] = li.children;
      setText(go.children[1], nameOf(m));
      setText(go.children[2], whenOf(m, this.now));
      go.setAttribute("aria-current", String(keyOf(m) === selected));
      setClass(li, `event is-${m.kind}`);
      why.hidden = !(m.text && m.event) && !m.by && m.value === undefined;
      const facts = [m.value !== undefined && m.limit !== undefined ? texts.against(units.quantity(m.value, m.unit), units.quantity(m.limit, m.unit)) : "", m.probe ? texts.graph.probe(m.probe) : "", m.by ? texts.graph.by(m.by) : ""];
      [m.what ? "" : m.text ?? "", facts.filter(Boolean).join(" · "), m.rule ? texts.why.rule(m.rule) : "", m.source ? texts.why.source(m.source) : ""].forEach((t, i) => setText(why.children[i + 1], t));
    });
    setText(this.none, marks.length === 0 ? texts.graph.nothing : "");
    this.more.hidden = shown.length >= newest.length;
    setText(this.more, texts.graph.showAll(newest.length));
    setText(this.left, left);
  }

  #make(m) {
    const li = el("li", {});
    li.append(
      el("button", { type: "button", class: "plain", onclick: () => this.pick(li.mark) }, markShape(m.kind), el("strong"), el("span", { class: "quiet" })),
      el("details", { class: "why" }, el("summary", { text: texts.why.open }), el("p"), el("p"), el("p"), el("p", { class: "quiet" })));
    return li;
  }

  // show brings a mark's line into sight.
  show(key) {
    [...this.list.children].find((li) => keyOf(li.mark) === key)?.firstElementChild.scrollIntoView({ block: "nearest" });
  }
}

export function leftWords(left) {
  const parts = Object.entries(left?.kinds ?? {}).map(([kind, n]) => texts.graph.kinds[kind]?.(n) ?? `${n} ${kind}`);
  if (left?.unread) parts.push(texts.graph.unread(left.unread));
  return parts.length > 0 ? texts.graph.left(parts.join(", ")) : "";
}
