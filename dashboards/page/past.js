// What happened: what was raised and what people did about it in one list, the newest first, read page by page as far back as somebody wants.
import { nameOf } from "./alarm.js";
import { el, keyed, setText, shape } from "./dom.js";
import { changeWords } from "./limitwords.js";
import { texts } from "./texts.js";
import * as units from "./units.js";
import { why } from "./why.js";

const atOnce = 60; // entries of one question; ours, no source
const mostShown = 900; // a phone scrolls no farther

export class Past {
  #state = null;
  #parts;
  #entries = [];
  #earlier = null; // where to go on
  #asking = 0;

  constructor() {
    const pick = (id, words, options) => {
      const node = el("select", { id, onchange: () => this.#read() }, ...options);
      return [el("label", { for: id, text: words }), node];
    };
    const options = (of) => Object.entries(of).map(([value, text]) => el("option", { value, text }));
    const [spanWord, span] = pick("past-span", texts.journal.span, options(texts.journal.spans));
    const [nestWord, nest] = pick("past-nest", texts.journal.nest, []);
    const [kindWord, kind] = pick("past-kind", texts.journal.kind, options(texts.journal.kinds));
    span.value = "7";
    const list = el("ul", { class: "past" });
    this.#parts = {
      span, nest, kind, list, note: el("p", { class: "quiet", role: "status" }),
      more: el("button", { type: "button", text: texts.journal.earlier, hidden: true, onclick: () => this.#read(true) }),
      again: el("button", { type: "button", text: texts.journal.again, onclick: () => this.#read() }),
    };
    const { note, more, again } = this.#parts;
    this.node = el("details", { class: "panel", id: "journal" }, el("summary", { text: texts.journal.open }),
      el("div", { class: "picks" }, ...[[spanWord, span], [kindWord, kind], [nestWord, nest]].map((p) => el("div", {}, ...p))),
      list, note, el("div", { class: "buttons" }, more, again));
    this.node.addEventListener("toggle", () => this.node.open && this.#read());
  }

  update(state) {
    this.#state = state;
    const all = ["", ...state.nests.map((n) => n.id), "-"];
    keyed(this.#parts.nest, all, (id) => id || "*", (id) => el("option", { value: id }), (o, id) => setText(o, id === "" ? texts.journal.all : id === "-" ? texts.journal.site : id));
  }

  redraw() {
    this.#draw();
  }

  // again reads the newest anew where it is open.
  again() {
    if (this.node.open) this.#read();
  }

  // read asks from the present on, or for what is earlier than what is shown.
  async #read(earlier = false) {
    if (!this.#state) return;
    const { span, nest, kind, note } = this.#parts;
    const mine = ++this.#asking;
    const now = Date.parse(this.#state.time);
    const asked = new URLSearchParams({ from: new Date(now - span.value * 86400e3).toISOString(), to: earlier ? this.#earlier : new Date(now + 60e3).toISOString(), max: atOnce });
    if (nest.value) asked.set("nest", nest.value);
    if (kind.value) asked.set("kind", kind.value);
    setText(note, texts.graph.loading);
    try {
      const answer = await fetch(`api/journal?${asked}`, { signal: AbortSignal.timeout(20e3) });
      const said = await answer.json();
      if (!answer.ok) throw new Error(said.error);
      if (mine !== this.#asking) return; // something else was asked for meanwhile
      const before = this.#entries.length;
      this.#entries = [...(earlier ? this.#entries : []), ...said.entries.toReversed()];
      this.#earlier = said.earlier;
      this.#draw();
      if (earlier) this.#parts.list.children[before]?.focus();
    } catch (e) {
      if (mine === this.#asking) setText(note, texts.past.failed(why(e)));
    }
  }

  #draw() {
    const { list, note, more } = this.#parts;
    const full = this.#entries.length >= mostShown;
    more.hidden = !this.#earlier || full;
    if (this.#asking > 0) setText(note, full && this.#earlier ? texts.journal.full : this.#earlier ? "" : this.#entries.length === 0 ? texts.journal.none : texts.journal.end);
    const seen = new Map(); // two of one key get a number
    const key = (e) => {
      const k = `${e.kind}/${e.time}/${e.nest}/${e.event}/${e.probe}/${e.state}/${e.severity}/${e.action}`;
      seen.set(k, (seen.get(k) ?? 0) + 1);
      return `${k}/${seen.get(k)}`;
    };
    const rows = this.#entries.map((e) => ({ e, key: key(e) }));
    keyed(list, rows, (r) => r.key, makeRow, (li, r) => updateRow(li, r.e));
  }
}

const marks = { act: "quiet", noted: "notice" };

function makeRow({ e }) {
  const mark = marks[e.kind] ?? (e.state === "cleared" ? "none" : e.severity);
  const facts = [el("span", { class: "quiet" }), el("strong"), el("span")];
  return el("li", { tabindex: "-1", class: `is-${e.kind === "alarm" && e.state === "raised" ? e.severity : e.kind}` }, shape(mark),
    reasonOf(e).some(Boolean) ? el("details", { class: "reason" }, el("summary", {}, ...facts), el("p"), el("p"), el("p", { class: "quiet" })) : el("div", {}, el("div", {}, ...facts)));
}

const ofLimits = (e) => e.action === "set-limits";

// reasonOf is what stands behind an entry. Of limits all of it stands in the entry.
const reasonOf = (e) => (ofLimits(e) ? [] : [e.text, e.rule && texts.why.rule(e.rule), e.source && texts.why.source(e.source)]);

function updateRow(li, e) {
  const [facts, ...reason] = li.lastElementChild.children;
  const [when, what, how] = facts.children;
  setText(when, units.dateAndClock(Date.parse(e.time)));
  setText(what, ofLimits(e) ? texts.journal.limits : nameOf(e));
  setText(how, howWords(e));
  reason.forEach((p, i) => setText(p, reasonOf(e)[i] ?? ""));
}

function howWords(e) {
  const j = texts.journal;
  const did = ofLimits(e) ? e.limits?.map(changeWords).join("; ") || e.text : null; // of older changes only the daemon's words are kept
  if (e.kind === "act") return j.act(did || (j.did[e.action] ?? e.action), e.for_s ? units.span(e.for_s) : "", e.by ? texts.ways[e.by] ?? texts.by(e.by) : "");
  if (e.state === "cleared") return j.cleared(e.since ? units.span((Date.parse(e.time) - Date.parse(e.since)) / 1e3) : "");
  if (e.state === "noted") return j.noted;
  const value = e.value !== null && e.limit !== null ? ` · ${texts.against(units.quantity(e.value, e.unit ?? ""), units.quantity(e.limit, e.unit ?? ""))}` : "";
  return j.raised(texts.severity[e.severity]) + value;
}
