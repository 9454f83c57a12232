// Which probe is this: one is warmed in the hand, every probe's bar shows how far it rose above its own start, and the daemon names it.
import { anyBusy, can } from "./act.js";
import { el, keyed, setClass, setText, shape } from "./dom.js";
import { difference, placeWords } from "./probelist.js";
import { texts } from "./texts.js";
import * as units from "./units.js";

const full = 3; // K of a whole bar, at least
const step = 0.5; // K within which bars keep their order
const slowRound = 20; // s, from which a probe that is read so seldom has to be held for longer

export class Warm {
  #work;
  #places = new Map();
  #now = null;
  #parts;

  constructor(work) {
    this.#work = work;
    this.#parts = {
      start: el("button", { type: "button", class: "take", onclick: () => work.begin("warm", {}, texts.warm.heading) }),
      stop: el("button", { type: "button", text: texts.warm.stop, onclick: () => work.end(texts.warm.heading) }),
      verdict: el("p", { class: "say-now", role: "status" }), found: el("ul", { class: "found" }), facts: el("p", { class: "quiet" }),
      heading: el("h3", { text: texts.warm.bars, hidden: true }), bars: el("ul", { class: "bars", tabindex: "0", "aria-label": texts.warm.bars }), notes: el("ul", { class: "rules" }),
    };
    const p = this.#parts;
    this.node = el("section", { id: "warm" }, el("h2", { text: texts.warm.heading }), el("p", { text: texts.warm.why }),
      el("div", { class: "buttons" }, p.start, p.stop), p.verdict, p.found, p.facts, p.heading, p.bars, p.notes);
  }

  know(places) {
    this.#places = new Map(places.map((x) => [x.probe, x]));
    this.#draw();
  }

  show(now) {
    if (now?.warm) this.#now = now;
    this.#draw();
  }

  update() {
    this.#draw();
  }

  redraw() {
    this.#draw();
  }

  #draw() {
    const p = this.#parts;
    const now = this.#now;
    const w = now?.warm;
    const runs = Boolean(w) && !now.over && this.#work.following;
    p.start.hidden = runs || !can.changes || this.#work.following;
    setText(p.start, anyBusy("work warm") ? texts.doing.sending : w ? texts.warm.again : texts.warm.start);
    p.start.setAttribute("aria-disabled", String(anyBusy("work warm")));
    p.stop.hidden = !runs;
    setText(p.verdict, runs ? this.#verdict(w) : w ? texts.warm.over : "");
    p.heading.hidden = !runs;
    if (!w) return;
    this.#drawFound(w);
    const slow = w.round_s > slowRound;
    setText(p.facts, runs ? [slow ? texts.warm.slow(units.span(w.round_s)) : texts.warm.round(units.span(Math.ceil(w.round_s))), texts.warm.left(units.span(w.left_s))].join(" ") : "");
    const notes = [];
    if (runs && w.state === "waiting" && w.found.length === 0) notes.push(texts.warm.hot);
    if (runs) notes.push(texts.warm.free);
    if (runs && w.apart.length > 0) notes.push(texts.warm.apart(w.apart.join(", ")));
    keyed(p.notes, notes, (t) => t, () => el("li"), setText);
    this.#drawBars(runs ? w : { bars: [] });
  }

  #verdict(w) {
    if (this.#work.lost) return texts.warm.lost;
    if (w.state === "several") return texts.warm.several(w.probe, w.other);
    if (w.state === "rising") return texts.warm.rising(w.probe);
    if (w.state === "learning") return texts.warm.learning;
    return w.found.length > 0 ? texts.warm.next : texts.warm.waiting;
  }

  #drawFound(w) {
    keyed(this.#parts.found, w.found, (f) => `${f.probe} ${f.time}`, () => el("li", {}, shape("none"), el("div", {}, el("strong"), el("p"), el("p"), el("p", { class: "quiet" }))), (li, f) => {
      const [name, sure, bound, wrong] = li.lastElementChild.children;
      const at = this.#places.get(f.probe);
      setClass(li, `sure-${f.sure}`);
      setText(name, texts.warm.named(f.probe));
      setText(sure, `${texts.warm.sure[f.sure]}. ${texts.warm.rose(difference(f.rise_k, 1), f.other ?? "", difference(f.second_k, 1))}`);
      setText(bound, at ? texts.warm.bound(placeWords(at), at.identity) : "");
      setText(wrong, texts.warm.wrong);
    });
  }

  #drawBars(w) {
    const rank = (b) => (b.rise_k === null ? -Infinity : Math.round(b.rise_k / step));
    const bars = [...w.bars].sort((a, b) => rank(b) - rank(a));
    const most = Math.max(full, ...bars.map((b) => b.rise_k ?? 0));
    keyed(this.#parts.bars, bars, (b) => b.probe, () => el("li", {}, el("span", { class: "who" }), el("span", { class: "rise" }), el("div", { class: "bar", "aria-hidden": "true" }, el("div"))), (li, b) => {
      const [who, rise, bar] = li.children;
      setClass(li, b.blind || b.rise_k === null ? "is-blind" : b.probe === w.probe && w.state !== "waiting" ? "is-held" : "");
      setText(who, b.probe);
      setText(rise, b.blind || b.rise_k === null ? texts.warm.blind : `${difference(b.rise_k, 1)} · ${units.temperature(b.value_c)} · ${units.ago(b.age_s)}`);
      bar.firstElementChild.style.width = `${Math.min(100, Math.max(0, (100 * (b.rise_k ?? 0)) / most))}%`;
    });
  }
}
