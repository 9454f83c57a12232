// A graph with all that belongs to it: buttons for how much is seen, the lines with their limits and marks, what they say at one instant,
// what happened as a list, and the same as a table. Where the lines come from is its source's business:
//
//	source.length           a span to begin with, where the address says none
//	source.ages             whether times are ages, in ms since birth
//	source.bounds(state)    {first, now} in ms: what can be looked at
//	source.known(view)      a picture that is at hand, or nothing
//	source.good(picture, view, buckets)  whether that is fine and fresh enough
//	source.read(view, buckets, signal)   a picture
//	source.rows(view, by, signal)        {starts, lines} for the table
//	source.ahead(view, buckets)          reads what is likely to be asked for next; may be missing
//
// A picture is {times, step, lines: [{key, name, role, unit, colour, width, dash, mean, low, high, wide, alone, gap_s}], limits, marks, left, ages, first}.
import { Chart, css, limitLines, loadChart, nearest } from "./chart.js";
import { el, keyed, setText } from "./dom.js";
import { settled } from "./lines.js";
import { keyOf, leftWords, MarkList, nameOf, whenOf } from "./marks.js";
import { View } from "./span.js";
import { fillTable, rowsFor } from "./table.js";
import { texts } from "./texts.js";
import * as units from "./units.js";
import { why } from "./why.js";

const perBucket = 1; // px; ours, no source
const settle = 180; // ms after the last move before finer detail is read
const gapsBehind = 2; // a newest point older than so many gaps is said to be old; ours, no source

// An open graph that follows is read again when one of these has passed, and never while the last answer is awaited. Ours, no source.
const redrawAfter = 10e3; // ms of the browser's time, or a bucket
const redrawJump = 600e3; // ms of the state's time, which an accelerated demonstration passes in a blink

export class Graph {
  view = new View();
  #picture = null;
  #asking = null; // {abort}
  #asked = null; // {now, at} of the last reading
  #asTable = false;
  #later = 0;

  // buttons are the spans to offer; said is called with the words of the address when they change.
  constructor(source, { buttons = ["hour", "day", "week", "month", "year", "all"], label, said = () => {} }) {
    this.source = source;
    this.said = said;
    this.chart = new Chart(this.view, { moved: () => this.#moved(), pointed: (t) => this.#point(t), picked: (m) => this.#pick(m) });
    const press = (name, text, act, more = {}) => el("button", { type: "button", class: "plain", "data-do": name, text, onclick: () => this.#go(act), ...more });
    this.spans = el("div", { class: "spans", role: "group", "aria-label": texts.graph.howMuch }, ...buttons.map((name) => press(name, texts.graph.spans[name], () => this.#show(name))));
    this.moves = el("div", { class: "moves", role: "group", "aria-label": texts.graph.moving },
      press("earlier", "◀", () => this.view.move(-0.5), { "aria-label": texts.graph.earlier }), press("wider", "−", () => this.view.zoom(2), { "aria-label": texts.graph.wider }),
      press("closer", "+", () => this.view.zoom(0.5, this.#cursorShare()), { "aria-label": texts.graph.closer }), press("later", "▶", () => this.view.move(0.5), { "aria-label": texts.graph.later }),
      press("now", texts.graph.now, () => this.view.toEnd()));
    this.when = el("p", { class: "when" });
    this.status = el("p", { class: "quiet", role: "status" });
    this.until = el("p", { class: "until" });
    this.field = el("div", { class: "field", tabindex: "0", role: "group", "aria-label": label, "aria-describedby": "graph-keys", onkeydown: (e) => this.#key(e) }, this.chart.node);
    this.slider = el("input", { type: "range", min: 0, max: 100, step: 1, "aria-label": texts.graph.lookAt, oninput: () => this.#slide() });
    this.read = el("p", { class: "read" });
    this.key = el("ul", { class: "key" });
    this.note = el("p", { class: "quiet" });
    this.keys = el("p", { class: "quiet keys", id: "graph-keys", text: texts.graph.keys });
    this.table = el("div", { class: "table", tabindex: "0", role: "region", "aria-label": label, hidden: true });
    this.switch = el("button", { type: "button", class: "plain", text: texts.graph.table, onclick: () => this.#flip() });
    this.marks = new MarkList((m) => this.#pick(m, true));
    this.drawn = el("div", { class: "drawn" }, this.field, this.slider, this.read, this.key, this.note);
    this.node = el("section", { class: "graph" }, this.spans, this.moves, this.when, this.status, this.until, this.drawn, this.table, this.switch, this.keys, this.marks.node);
    this.marks.node.hidden = true;
  }

  // #show takes a span; of ages the first part is shown.
  #show(name) {
    this.view.show(name);
    if (this.source.ages && !this.view.all) this.view.toStart();
  }

  // open takes the words of an address.
  open(words) {
    this.view.read(words.length > 0 && words[0] ? words : [this.source.length ?? "1d"]);
    this.#picture = this.#asked = null;
    this.chart.cursor = this.chart.selected = null;
  }

  // update takes a newer state.
  update(state) {
    this.state = state;
    const { first, now } = this.source.bounds(state);
    const length = this.view.length;
    this.view.bound(first, now);
    if (this.view.follows && !this.view.all && length !== this.view.length) this.view.zoom(length / this.view.length);
    if (this.source.ages && !this.#asked && this.view.follows && !this.view.all) this.view.toStart();
    this.#sayUntil();
    if (!this.#asked || (this.view.follows && this.#due(now))) this.refresh();
  }

  shut() {
    this.#asking?.abort.abort();
    this.#asking = null;
    this.#asked = null;
    clearTimeout(this.#later);
  }

  // discard is for a graph that nobody comes back to.
  discard() {
    this.shut();
    this.chart.discard();
  }

  #due(now) {
    if (this.#asking || now === this.#asked.now) return false;
    const pause = Math.min(Math.max(redrawAfter, (this.#picture?.step ?? 0) * 1e3), settled);
    return performance.now() - this.#asked.at >= pause || Math.abs(now - this.#asked.now) > Math.max(redrawJump, (this.#picture?.step ?? 0) * 1e3);
  }

  get #buckets() {
    return Math.round(this.chart.plotWidth / perBucket);
  }

  async refresh() {
    clearTimeout(this.#later);
    this.#asking?.abort.abort();
    const asking = { abort: new AbortController() };
    this.#asking = asking;
    this.#asked = { now: this.view.now, at: performance.now() };
    this.#buttons();
    try {
      if (this.#asTable) await this.#tabulate(asking);
      else await this.#graph(asking);
    } catch (problem) {
      if (this.#asking === asking) setText(this.status, texts.graph.failed(why(problem)));
    } finally {
      if (this.#asking === asking) this.#asking = null;
    }
  }

  async #graph(asking) {
    const buckets = this.#buckets;
    const have = this.source.known(this.view, buckets);
    const uPlot = await loadChart();
    if (this.#asking !== asking) return;
    if (have) this.#draw(uPlot, have);
    if (!have || !this.source.good(have, this.view, buckets)) {
      if (!this.#picture) setText(this.status, texts.graph.loading);
      const picture = await this.source.read(this.view, buckets, asking.abort.signal);
      if (this.#asking !== asking) return;
      this.#draw(uPlot, picture);
    }
    performance.mark("graph-drawn");
    this.source.ahead?.(this.view, buckets);
  }

  #draw(uPlot, picture) {
    const first = !this.#picture;
    this.#picture = picture;
    if (picture.first !== undefined) this.view.bound(Math.min(picture.first, this.view.now), this.view.now);
    this.#buttons();
    setText(this.status, picture.lines.some((l) => l.mean.some((v) => v !== undefined && v !== null)) ? "" : texts.graph.empty);
    this.chart.draw(uPlot, picture);
    for (const canvas of this.chart.node.querySelectorAll(".uplot")) canvas.setAttribute("aria-hidden", "true"); // slider, list and table say the same
    if (first) this.chart.cursor = null;
    this.#sayUntil();
    this.#say();
    this.#list();
  }

  // #go follows a button.
  #go(act) {
    act();
    this.#changed();
    this.refresh();
  }

  // #moved follows fingers: what is at hand is drawn at once, detail is read when they rest.
  #moved() {
    this.#changed();
    clearTimeout(this.#later);
    this.#later = setTimeout(() => this.refresh(), settle);
  }

  #changed() {
    if (!this.#asTable) this.chart.again(true);
    this.#buttons();
    this.said(this.view.words());
  }

  #buttons() {
    for (const b of this.spans.children) b.setAttribute("aria-pressed", String(this.view.is(b.dataset.do)));
    const off = { later: this.view.follows, now: this.view.follows, earlier: this.view.from <= this.view.first, wider: this.view.all };
    for (const b of this.moves.children) b.setAttribute("aria-disabled", String(off[b.dataset.do] ?? false));
    setText(this.when, this.#picture?.ages ? texts.graph.ages(Math.floor(this.view.from / 86400e3), Math.floor((this.view.to - 1) / 86400e3)) : texts.graph.fromTo(units.dayAndClock(this.view.from, this.view.now), units.dayAndClock(this.view.to, this.view.now)));
  }

  // sayUntil says how far a graph that ends now is drawn when that is long before the state that is shown.
  #sayUntil() {
    const lines = this.#picture?.lines ?? [];
    const last = (l) => this.#picture.times[l.mean.findLastIndex((v) => v !== undefined && v !== null)] ?? 0;
    const newest = Math.max(...lines.map(last)) - (this.#picture?.step ?? 0) / 2;
    const behind = this.view.follows && !this.#picture?.ages && newest > 0 && this.view.now / 1e3 - newest > gapsBehind * Math.max(...lines.map((l) => l.gap_s));
    setText(this.until, behind ? texts.graph.until(units.dayAndClock(newest * 1e3, this.view.now)) : "");
  }

  #point(t) {
    this.chart.selected = null;
    this.chart.point(t);
    this.#say();
    this.#list();
  }

  // pick shows a mark; centre brings it to the middle of the graph.
  #pick(mark, centre = false) {
    this.chart.selected = keyOf(mark);
    this.chart.cursor = mark.at;
    if (centre) {
      if (this.#asTable) this.#flip();
      this.#go(() => this.view.around(mark.at * 1e3));
      this.node.scrollIntoView({ block: "start", behavior: matchMedia("(prefers-reduced-motion: reduce)").matches ? "auto" : "smooth" });
    } else this.chart.again();
    this.#say();
    this.#list();
    if (!centre) this.marks.show(this.chart.selected);
  }

  #cursorShare() {
    const at = this.chart.cursor === null ? -1 : (this.chart.cursor * 1e3 - this.view.from) / this.view.length;
    return at >= 0 && at <= 1 ? at : this.view.follows ? 1 : 0.5;
  }

  // #say writes what the lines are at the cursor, or at the end of what is seen.
  #say() {
    const p = this.#picture;
    if (!p) return;
    const seen = p.times.map((t, i) => [t, i]).filter(([t]) => t >= this.view.from / 1e3 && t <= this.view.to / 1e3).map(([, i]) => i);
    const rest = seen.findLast((i) => p.lines.some((l) => l.mean[i] !== undefined && l.mean[i] !== null)) ?? seen.at(-1) ?? 0;
    const i = this.chart.cursor === null ? rest : nearest(p.times, this.chart.cursor);
    const t = p.times[i] ?? 0;
    const values = p.lines.map((l) => ({ l, mean: near(l, i), low: near(l, i, "low"), high: near(l, i, "high") }));
    const band = p.limits?.find((b) => b.from <= t && t < b.to);
    const when = p.ages ? texts.graph.age(Math.floor(t / 86400)) : units.dayAndClock((p.step >= 3600 ? t - p.step / 2 : t) * 1e3, this.view.now);
    const at = p.step >= 3600 ? texts.graph.over(when, units.span(p.step)) : when;
    const mark = p.marks?.find((m) => keyOf(m) === this.chart.selected);
    setText(this.read, mark ? `${nameOf(mark)} · ${whenOf(mark, this.view.now)}` : at);
    const items = values.map(({ l, mean, low, high }) => ({ key: l.key, style: { colour: css(l.colour), width: l.width, dash: l.dash }, name: l.name, value: valueWords(l, mean, low, high) }));
    for (const limit of limitLines) {
      if (!p.limits || !p.lines.some((l) => l.role === limit.role)) continue;
      const c = band?.[limit.key] ?? null;
      if (c === null && !p.limits.some((b) => (b[limit.key] ?? null) !== null)) continue;
      items.push({ key: limit.key, style: { colour: css(`--line-${limit.role}`), width: limit.width, dash: limit.dash }, name: texts.graph[limit.end](texts.role[limit.role]), value: c === null ? texts.graph.none : units.temperature(c) });
    }
    keyed(this.key, items, (x) => x.key, (x) => el("li", {}, sample(x.style), el("span"), el("strong")), (li, x) => {
      if (li.dataset.colour !== x.style.colour) {
        li.dataset.colour = x.style.colour;
        li.firstElementChild.replaceWith(sample(x.style));
      }
      setText(li.children[1], x.name);
      setText(li.children[2], x.value);
    });
    const notes = [p.limits?.length ? texts.graph.limitsNote(band?.day === undefined ? "" : texts.graph.days(band.day, band.last_day)) : "", band?.proposed ? texts.graph.proposed : "", p.limitsLeft ? texts.graph.limitsLeft : "", p.lines.some((l) => l.wide) ? texts.graph.shade : "", p.marks?.length > 1 ? texts.graph.crowd : ""];
    setText(this.note, notes.filter(Boolean).join(" "));
    this.slider.max = Math.max(seen.length - 1, 1);
    this.slider.value = Math.max(seen.indexOf(i), 0);
    this.slider.setAttribute("aria-valuetext", `${at}: ${items.map((x) => `${x.name} ${x.value}`).join(", ")}`);
    this.#seen = seen;
  }
  #seen = [];

  #slide() {
    const i = this.#seen[Number(this.slider.value)];
    if (i !== undefined) this.#point(this.#picture.times[i]);
  }

  #list() {
    const p = this.#picture;
    this.marks.node.hidden = !p?.marks;
    if (!p?.marks) return;
    const [from, to] = [this.view.from / 1e3, this.view.to / 1e3];
    this.marks.update(p.marks.filter((m) => m.at <= to && (m.on || (m.until ?? m.at) >= from)), leftWords(p.left), this.chart.selected, this.view.now);
  }

  #flip() {
    this.#asTable = !this.#asTable;
    setText(this.switch, this.#asTable ? texts.graph.chart : texts.graph.table);
    this.drawn.hidden = this.keys.hidden = this.#asTable;
    this.table.hidden = !this.#asTable;
    this.refresh();
  }

  async #tabulate(asking) {
    const by = rowsFor(this.view.length);
    this.#rows = { ...(await this.source.rows(this.view, by, asking.abort.signal)), by };
    if (this.#asking === asking) this.#fill();
  }
  #rows = null;

  #fill() {
    setText(this.status, "");
    const begin = this.#rows.ages ? (t) => texts.graph.age(Math.floor(t / 86400e3)) : this.#rows.by === "hour" ? (t) => units.dayAndClock(t, this.view.now) : (t) => units.day(t, this.view.now);
    fillTable(this.table, { ...this.#rows, begin });
  }

  // redraw draws with the unit or the colours that are in force now.
  redraw() {
    if (this.#rows) this.#fill();
    this.chart.recolour();
    if (this.#picture) loadChart().then((uPlot) => this.#draw(uPlot, this.#picture), () => {});
  }

  #key(e) {
    if (e.ctrlKey || e.metaKey || e.altKey) return;
    const step = (by) => () => {
      if (!this.#picture || this.#seen.length === 0) return;
      const i = nearest(this.#picture.times, this.chart.cursor ?? this.view.to / 1e3) + by;
      this.#point(this.#picture.times[Math.min(Math.max(i, this.#seen[0]), this.#seen.at(-1))]);
    };
    const moves = {
      ArrowLeft: () => this.view.move(-0.25), ArrowRight: () => this.view.move(0.25), PageUp: () => this.view.move(-1), PageDown: () => this.view.move(1),
      "+": () => this.view.zoom(0.5, this.#cursorShare()), "=": () => this.view.zoom(0.5, this.#cursorShare()), "-": () => this.view.zoom(2), Home: () => this.view.toStart(), End: () => this.view.toEnd(),
    };
    const points = { ArrowLeft: step(-1), ArrowRight: step(1) };
    if (e.shiftKey && points[e.key]) points[e.key]();
    else if (moves[e.key]) this.#go(moves[e.key]);
    else return;
    e.preventDefault();
  }
}

// near is a line's value at a place, or the nearest on either side that is no gap away.
function near(l, i, of = "mean") {
  for (let d = 0; d < 4; d++) {
    for (const j of [i - d, i + d]) {
      if (l.mean[j] === null) return null;
      if (l.mean[j] !== undefined) return l[of][j];
    }
  }
  return null;
}

function valueWords(l, mean, low, high) {
  if (mean === null) return texts.noData;
  const value = units.quantity(mean, l.unit);
  const number = (v) => (l.unit === "C" ? units.temperatureNumber(v) : units.quantity(v, l.unit));
  return l.wide && high > low ? texts.graph.ranged(value, number(low), number(high)) : value;
}

function sample({ colour, width, dash }) {
  const ns = "http://www.w3.org/2000/svg";
  const svg = document.createElementNS(ns, "svg");
  svg.setAttribute("viewBox", "0 0 40 8");
  svg.setAttribute("aria-hidden", "true");
  const line = document.createElementNS(ns, "path");
  for (const [name, value] of Object.entries({ d: "M0 4h40", stroke: colour, "stroke-width": width, "stroke-dasharray": dash.join(" ") })) line.setAttribute(name, value);
  svg.append(line);
  return svg;
}
