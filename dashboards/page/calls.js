// The way to a person: who is called in which order, a test of it, the way out, and how good the alarms were.
import { can, isBusy, logout, test } from "./act.js";
import { el, keyed, setText } from "./dom.js";
import { texts } from "./texts.js";
import * as units from "./units.js";
import { why } from "./why.js";

export class Calls {
  #parts;
  #known = null; // the program that said who is called, by its start
  #calls = null;
  #state = null;

  constructor() {
    const tested = el("ul", { class: "list tested" });
    this.#parts = {
      locked: el("p", { class: "locked" }), order: el("ol", { class: "order" }), rules: el("ul", { class: "rules" }), note: el("p", { class: "quiet" }),
      test: el("button", { type: "button", onclick: () => test(tested) }), out: el("button", { type: "button", onclick: logout }),
      figures: el("div", { class: "figures" }),
    };
    const { locked, order, rules, note, test: trial, out, figures } = this.#parts;
    this.node = el("div", { class: "calls" }, locked, el("h3", { text: texts.calls.heading }), order, rules, note, el("div", { class: "buttons" }, trial, out), el("div", { role: "status" }, tested));
    this.quality = el("details", { class: "panel", id: "quality" }, el("summary", { text: texts.quality.open }), figures);
    this.quality.addEventListener("toggle", () => this.quality.open && this.#measure());
  }

  // look asks who is called, once for each program.
  async look() {
    if (this.#calls && this.#known === this.#state?.started) return;
    try {
      const answer = await fetch("api/calls", { signal: AbortSignal.timeout(10e3) });
      const said = await answer.json();
      if (!answer.ok) throw new Error(said.error);
      this.#calls = said;
      this.#known = this.#state?.started;
      setText(this.#parts.note, "");
      if (this.#state) this.#draw();
    } catch (e) {
      setText(this.#parts.note, texts.calls.failed(why(e)));
    }
  }

  // again works the figures out anew where they are open.
  again() {
    if (this.quality.open) this.#measure();
  }

  update(state) {
    if (this.#state && this.#state.started !== state.started) this.#calls = null;
    const asks = this.#state && !this.#calls;
    this.#state = state;
    const { locked, test: trial, out } = this.#parts;
    locked.hidden = can.changes || !can.asked;
    setText(locked, texts.locked);
    trial.hidden = !can.changes || state.nobody_called;
    setText(trial, isBusy("test", "test") ? texts.doing.sending : texts.test.button);
    out.hidden = !can.changes || !can.logged_in;
    setText(out, texts.login.out);
    trial.parentElement.hidden = trial.hidden && out.hidden;
    if (this.#calls) this.#draw();
    else if (asks && !this.#parts.note.textContent) this.look();
  }

  #draw() {
    const { order, rules, note } = this.#parts;
    const c = this.#calls;
    const broken = new Set(this.#state.sinks.filter((s) => !s.ok).map((s) => s.sink));
    setText(note, this.#state.nobody_called ? texts.calls.nobody : "");
    const lines = c.contacts.map((who, i) => ({ ...who, when: i === 0 ? texts.calls.first : texts.calls.later(units.span(i * c.escalate_after * c.repeat_s)) }));
    keyed(order, lines, (w) => w.name, () => el("li", {}, el("strong"), el("span"), el("span", { class: "quiet" }), el("span", { class: "fails" })), (li, w) => {
      const [name, when, ways, fails] = li.children;
      setText(name, w.name);
      setText(when, w.when);
      setText(ways, w.channels.map((ch) => texts.calls.by(ch.name, texts.severity[ch.at_least])).join("; "));
      setText(fails, w.channels.filter((ch) => broken.has(ch.name)).map((ch) => texts.calls.failing(ch.name)).join(". "));
    });
    const said = [];
    if (c.contacts.length > 0) said.push(texts.calls.repeat(units.span(c.repeat_s)));
    if (c.quiet_from) said.push(texts.calls.quiet(c.quiet_from, c.quiet_to, c.quiet_holds));
    if (c.all_well) said.push(texts.calls.allWell(c.all_well));
    keyed(rules, said, (t) => t, () => el("li"), setText);
  }

  async #measure() {
    const { figures } = this.#parts;
    figures.replaceChildren(el("p", { class: "quiet", text: texts.graph.loading }));
    try {
      const answer = await fetch("api/quality", { signal: AbortSignal.timeout(30e3) });
      const said = await answer.json();
      if (!answer.ok) throw new Error(said.error);
      const head = el("tr", {}, ...[texts.quality.what, texts.quality.here, texts.quality.aim].map((t) => el("th", { scope: "col", text: t })));
      const row = (f) => el("tr", {}, el("th", { scope: "row", text: f.what }), el("td", { text: f.here }), el("td", { text: f.aim }));
      figures.replaceChildren(
        el("p", { text: `${texts.quality.of(said.days)}${said.few ? ` ${texts.quality.few}` : ""}` }),
        el("table", {}, el("thead", {}, head), el("tbody", {}, ...said.figures.map(row))),
        el("ul", { class: "rules" }, ...said.advice.map((t) => el("li", { text: t }))));
    } catch (e) {
      figures.replaceChildren(el("p", { text: texts.quality.failed(why(e)) }));
    }
  }
}
