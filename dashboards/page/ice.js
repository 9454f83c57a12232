// A probe in melting ice: the advice, how steady it is, and what was stored.
import { anyBusy, can, hush } from "./act.js";
import { el, keyed, setClass, setText } from "./dom.js";
import { difference, placeWords } from "./probelist.js";
import { texts } from "./texts.js";
import * as units from "./units.js";

const least = 0.5; // K that the drawing spans at least

export class Ice {
  #work;
  #places = [];
  #now = null;
  #parts;

  constructor(work) {
    this.#work = work;
    const sure = el("input", { type: "checkbox", id: "ice-sure", onchange: () => this.#draw() });
    const pick = el("select", { id: "ice-probe", onchange: () => {
      sure.checked = false;
      this.#draw();
      if (sure.parentElement.hidden) return;
      hush();
      sure.parentElement.scrollIntoView({ block: "center" });
    } });
    this.#parts = {
      pick, sure, sureWords: el("span"), cannot: el("p", { class: "quiet" }), raises: el("p"),
      start: el("button", { type: "button", class: "take", onclick: () => this.#begin() }),
      stop: el("button", { type: "button", text: texts.ice.stop, onclick: () => work.end(texts.ice.heading) }),
      state: el("p", { class: "say-now", role: "status" }), value: el("p", { class: "big-now" }), facts: el("p", { class: "quiet" }), trace: trace(), result: el("div", { class: "result" }),
    };
    const p = this.#parts;
    const list = (tag, all) => el(tag, { class: "advice" }, ...all.map((t) => el("li", { text: t })));
    p.form = el("div", { class: "form" }, list("ul", texts.ice.cautions), el("label", { for: "ice-probe", text: texts.ice.probe }), p.pick, p.cannot, list("ol", texts.ice.steps), p.raises,
      el("label", { for: "ice-sure", class: "sure" }, sure, p.sureWords), el("div", { class: "buttons" }, p.start));
    this.node = el("details", { id: "ice" }, el("summary", {}, el("h2", { text: texts.ice.heading })), el("p", { text: texts.ice.why }),
      p.state, p.value, p.trace, p.facts, el("div", { class: "buttons" }, p.stop), p.result, p.form);
  }

  know(places) {
    this.#places = places;
    const able = places.filter((p) => p.no_ice === null);
    keyed(this.#parts.pick, [null, ...able], (p) => p?.probe ?? "-", (p) => el("option", { value: p?.probe ?? "" }), (o, p) => setText(o, p ? `${p.probe} (${placeWords(p)})` : texts.ice.choose));
    const not = places.filter((p) => p.no_ice !== null).map((p) => p.probe);
    setText(this.#parts.cannot, not.length > 0 ? texts.ice.cannot(not.join(", ")) : "");
    this.#draw();
  }

  show(now) {
    if (now?.ice) {
      if (!this.#now) this.node.open = true;
      this.#now = now;
    } else if (now?.over && this.#now && !this.#now.over) {
      this.#now = { ...this.#now, over: true, gone: true }; // nestmon was started anew, and knows nothing of it
    }
    this.#draw();
  }

  update() {
    this.#draw();
  }

  redraw() {
    this.#draw();
  }

  #chosen = () => this.#places.find((p) => p.probe === this.#parts.pick.value);

  async #begin() {
    const at = this.#chosen();
    if (!at) {
      this.#parts.pick.focus();
      return;
    }
    if (at.only && !this.#parts.sure.checked) {
      this.#parts.sure.focus();
      return;
    }
    this.#now = null;
    await this.#work.begin("ice", { probe: at.probe, sure: this.#parts.sure.checked }, `${at.probe} – ${texts.ice.heading}`);
  }

  #draw() {
    const p = this.#parts;
    const i = this.#now?.ice;
    const runs = Boolean(i) && !this.#now.over;
    const at = this.#chosen();
    this.node.hidden = !can.changes;
    p.form.hidden = runs;
    p.stop.parentElement.hidden = !runs;
    p.sure.parentElement.hidden = !at?.only;
    setText(p.sureWords, at?.only ? texts.ice.only(at.probe, at.only) : "");
    setText(p.raises, at && at.raises.length > 0 ? texts.ice.raises(at.raises.map((e) => texts.event[e] ?? e).join(", ")) : "");
    const waits = !at || (at.only && !p.sure.checked) || anyBusy("work ice") || this.#work.following;
    setText(p.start, anyBusy("work ice") ? texts.doing.sending : texts.ice.start);
    p.start.setAttribute("aria-disabled", String(waits));
    setText(p.state, i ? `${i.probe}: ${this.#now.gone ? texts.ice.gone : this.#work.lost && runs ? texts.warm.lost : this.#words(i, i.state)}` : "");
    p.value.hidden = !runs || this.#work.lost;
    p.trace.toggleAttribute("hidden", !i || i.trace.length < 2);
    setText(p.value, runs ? `${texts.ice.now} ${i.value_c === null ? texts.ice.none : fine(i.value_c)}` : "");
    setText(p.facts, runs && i.spread_c > 0 ? texts.ice.spread(difference(i.spread_c).replace("+", "")) : "");
    if (i) drawTrace(p.trace, i.trace);
    this.#result(i);
  }

  #words(i, state) {
    const said = texts.ice.state[state];
    return said ? said({ left: units.span(i.left_s), spread: difference(i.spread_c).replace("+", ""), slope: difference(i.slope_c_min), fault: texts.fault[i.fault] ?? i.fault, last: i.last && i.last !== state ? this.#words(i, i.last) : "" }) : state;
  }

  #result(i) {
    const r = this.#parts.result;
    const key = i?.offset ? `${i.probe} ${i.offset.temperature_c} ${i.trouble} ${units.display()}` : "";
    if (r.dataset.text === key) return;
    r.dataset.text = key;
    setClass(r, i?.trouble ? "result is-warning" : "result");
    r.replaceChildren(...(key === "" ? [] : [
      el("p", { class: "say-now", text: texts.ice.result(difference(i.offset.temperature_c), fine(i.mean_c), i.readings) }),
      el("p", { text: i.trouble ? texts.ice.unstored(i.trouble) : texts.ice.stored }),
      el("p", { class: "quiet", text: texts.ice.line }), el("code", { text: i.line }), el("p", { text: texts.ice.back }),
    ]));
  }
}

// fine writes a temperature to a hundredth, as fine as a probe's step.
function fine(c) {
  const v = units.degrees(c);
  return `${v < 0 ? "−" : ""}${Math.abs(v).toLocaleString(texts.locale, { minimumFractionDigits: 2, maximumFractionDigits: 2 })}\u00a0${units.unitSign()}`;
}

const ns = "http://www.w3.org/2000/svg";

function trace() {
  const svg = document.createElementNS(ns, "svg");
  for (const [k, v] of [["viewBox", "0 0 300 80"], ["class", "trace"], ["role", "img"], ["aria-label", texts.ice.trace], ["preserveAspectRatio", "none"], ["hidden", ""]]) svg.setAttribute(k, v);
  for (const tag of ["line", "polyline"]) svg.append(document.createElementNS(ns, tag));
  return svg;
}

function drawTrace(svg, points) {
  if (points.length < 2) return;
  const values = points.map((p) => p[1]);
  const low = Math.min(0, ...values);
  const high = Math.max(low + least, ...values);
  const y = (v) => 76 - (72 * (v - low)) / (high - low);
  const [from, to] = [points[0][0], points.at(-1)[0]];
  const [zero, line] = svg.children;
  for (const [k, v] of [["x1", 0], ["x2", 300], ["y1", y(0)], ["y2", y(0)]]) zero.setAttribute(k, v);
  line.setAttribute("points", points.map(([t, v]) => `${((300 * (t - from)) / Math.max(1, to - from)).toFixed(1)},${y(v).toFixed(1)}`).join(" "));
}
