// The day of one nest: cluster, air and outside with the limits as lines, or the same as a table. The chart is drawn by uPlot, which is
// fetched when the first day is opened.
import { el, setText } from "./dom.js";
import { texts } from "./texts.js";
import * as units from "./units.js";

const daySeconds = 86400;
const chartBuckets = 288; // five minutes each
const tableBuckets = 24;

// An open day is read again when either has passed, and never while the last answer is still awaited. Ours, no source.
const redrawAfter = 10e3; // ms of the browser's time
const redrawJump = 600e3; // ms of the state's time, which an accelerated demonstration passes in a blink

const gapsBehind = 2; // a newest point older than so many gaps is said to be old; ours, no source

// Each line has its own colour, dash and width, so that it is told apart without colour. Colours come from the style sheet.
const lines = [
  { role: "cluster", colour: "--line-cluster", width: 3, dash: [] },
  { role: "air", colour: "--line-air", width: 2, dash: [8, 4] },
  { role: "outside", colour: "--line-outside", width: 2, dash: [2, 4] },
];
const limitLines = [
  { key: "cluster_hot_c", role: "cluster", end: "hot", colour: "--line-cluster" },
  { key: "cluster_cold_c", role: "cluster", end: "cold", colour: "--line-cluster" },
  { key: "air_hot_c", role: "air", end: "hot", colour: "--line-air" },
  { key: "air_cold_c", role: "air", end: "cold", colour: "--line-air" },
];
const limitDash = { hot: [14, 3, 2, 3], cold: [2, 2] };

let library = null;

function loadLibrary() {
  library ??= new Promise((done, fail) => {
    const script = el("script", { src: new URL("vendor/uplot-1.6.32.min.js", import.meta.url).href, onload: () => done(globalThis.uPlot), onerror: () => fail(new Error("uPlot")) });
    document.head.append(script);
  });
  library.catch(() => (library = null));
  return library;
}

async function series(probe, to, buckets) {
  const from = new Date(to - daySeconds * 1e3).toISOString();
  const ask = new URLSearchParams({ probe, quantity: "temperature", from, to: new Date(to).toISOString(), buckets });
  const answer = await fetch(`api/series?${ask}`, { signal: AbortSignal.timeout(15e3) });
  const body = await answer.json();
  if (!answer.ok) throw new Error(body.error);
  return body;
}

// cut puts a hole between points that are too far apart for a line.
function cut(s) {
  const xs = [];
  const ys = [];
  for (const [t, , mean] of s.points) {
    if (xs.length > 0 && t - xs[xs.length - 1] > s.gap_s) {
      xs.push(xs[xs.length - 1] + 1);
      ys.push(null);
    }
    xs.push(t);
    ys.push(mean);
  }
  return [xs, ys];
}

const css = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();

export class Day {
  #chart = null;
  #got = null; // {all: [{line, data}], to, limits}
  #asked = null; // {to, at}: the state's time and the browser's ms of the last reading, null when it must be read now
  #busy = false;
  #asTable = false;

  constructor() {
    this.status = el("p", { class: "quiet", role: "status" });
    this.until = el("p", { class: "until" });
    this.box = el("div", { class: "chart" });
    this.key = el("ul", { class: "key" });
    this.note = el("p", { class: "quiet" });
    this.switch = el("button", { type: "button", class: "plain", text: texts.graph.table, onclick: () => this.#flip() });
    this.table = el("div", { class: "table", tabindex: "0", role: "region", hidden: true });
    this.node = el("div", { class: "day" }, this.status, this.until, this.box, this.key, this.table, this.note, this.switch);
    new ResizeObserver(() => this.#resize()).observe(this.box);
  }

  show(nest, state) {
    this.#got = this.#asked = null;
    return this.refresh(nest, state);
  }

  async refresh(nest, state) {
    const to = Date.parse(state.time);
    this.nest = nest;
    this.state = state;
    this.#sayUntil();
    if (this.#busy || !this.#due(to)) return;
    this.#busy = true;
    const asked = { to, at: performance.now() };
    this.#asked = asked;
    if (!this.#got) setText(this.status, texts.graph.loading);
    try {
      const [uPlot, all] = await Promise.all([loadLibrary(), this.#read(nest, state, to, this.#asTable ? tableBuckets : chartBuckets)]);
      if (this.#asked !== asked) return; // meanwhile something else was asked for
      this.#got = { all, to, limits: nest.limits };
      setText(this.status, all.some((a) => a.data.points.length > 0) ? "" : texts.graph.empty);
      if (this.#asTable) this.#tabulate();
      else this.#draw(uPlot);
    } catch (problem) {
      setText(this.status, texts.graph.failed(problem.message));
    } finally {
      this.#busy = false;
      if (this.#asked === asked) this.#sayUntil();
      else this.refresh(this.nest, this.state);
    }
  }

  #due(to) {
    if (!this.#asked) return true;
    return to !== this.#asked.to && (Math.abs(to - this.#asked.to) > redrawJump || performance.now() - this.#asked.at >= redrawAfter);
  }

  // sayUntil says how far the day is drawn when that is long before the state that is shown.
  #sayUntil() {
    const now = Date.parse(this.state.time);
    const series = this.#got?.all.map((a) => a.data) ?? [];
    const newest = Math.max(...series.map((s) => (s.points.at(-1)?.[0] ?? 0) * 1e3));
    const behind = newest > 0 && now - newest > gapsBehind * Math.max(...series.map((s) => s.gap_s)) * 1e3;
    setText(this.until, behind ? texts.graph.until(units.moment(newest, now)) : "");
  }

  async #read(nest, state, to, buckets) {
    const values = [...nest.values, ...state.outside.values.map((v) => ({ ...v, role: "outside" }))];
    const wanted = lines.map((line) => ({ line, probe: values.find((v) => v.role === line.role && v.quantity === "temperature")?.probe })).filter((w) => w.probe);
    return Promise.all(wanted.map(async ({ line, probe }) => ({ line, data: await series(probe, to, buckets) })));
  }

  #flip() {
    this.#asTable = !this.#asTable;
    setText(this.switch, this.#asTable ? texts.graph.chart : texts.graph.table);
    this.box.hidden = this.key.hidden = this.#asTable;
    this.table.hidden = !this.#asTable;
    this.show(this.nest, this.state);
  }

  #draw(uPlot) {
    const { all, to, limits } = this.#got;
    const shown = limitLines.filter((l) => limits[l.key] !== null && all.some((a) => a.line.role === l.role));
    const ends = [to / 1e3 - daySeconds, to / 1e3];
    const tables = all.map((a) => cut(a.data)).map(([xs, ys]) => [xs, ys.map((y) => (y === null ? null : units.degrees(y)))]);
    for (const l of shown) tables.push([ends, ends.map(() => units.degrees(limits[l.key]))]);
    const data = uPlot.join(tables, tables.map(() => [0, 2])); // 2: only a hole of this very line breaks it
    this.#chart?.destroy();
    this.box.replaceChildren();
    this.#chart = new uPlot({
      ...this.#size(), tzDate: (t) => uPlot.tzDate(new Date(t * 1e3), units.timezone()), legend: { show: false }, cursor: { show: false },
      scales: { x: { min: ends[0], max: ends[1] }, y: { range: (_, low, high) => [Math.floor(low - 1), Math.ceil(high + 1)] } },
      axes: [axis({ space: 60, values: (_, ticks) => ticks.map((t) => units.tick(t * 1e3)) }), axis({ size: 44, values: (_, ticks) => ticks.map((v) => `${v}°`) })],
      series: [{}, ...all.map((a) => ({ stroke: css(a.line.colour), width: a.line.width, dash: a.line.dash, points: { show: false } })),
        ...shown.map((l) => ({ stroke: css(l.colour), width: 1.5, dash: limitDash[l.end], points: { show: false } }))],
    }, data, this.box);
    this.box.firstElementChild.setAttribute("aria-hidden", "true"); // the table says the same
    this.key.replaceChildren(
      ...all.map((a) => keyItem(css(a.line.colour), a.line.width, a.line.dash, texts.role[a.line.role])),
      ...shown.map((l) => keyItem(css(l.colour), 1.5, limitDash[l.end], `${texts.graph[l.end](texts.role[l.role])} ${units.limitNumber(limits[l.key])}`)));
    setText(this.note, texts.graph.limitsNote);
  }

  #tabulate() {
    const { all, to } = this.#got;
    const step = (daySeconds / tableBuckets) * 1e3;
    const range = (p) => el("small", { text: `${units.temperatureNumber(p[1])} – ${units.temperatureNumber(p[3])}` });
    const cell = (p) => (p ? el("td", {}, units.temperatureNumber(p[2]), range(p)) : el("td", { text: texts.graph.none }));
    const rows = [];
    for (let i = tableBuckets - 1; i >= 0; i--) {
      const start = to - daySeconds * 1e3 + i * step;
      const inside = (p) => p[0] * 1e3 >= start - 1 && p[0] * 1e3 < start + step - 1;
      rows.push(el("tr", {}, el("th", { scope: "row", text: units.clock(start) }), ...all.map((a) => cell(a.data.points.find(inside)))));
    }
    const head = el("tr", {}, el("th", { scope: "col", text: texts.graph.time }), ...all.map((a) => el("th", { scope: "col", text: `${texts.role[a.line.role]} ${units.unitSign()}` })));
    this.table.setAttribute("aria-label", texts.graph.open(this.nest.id));
    this.table.replaceChildren(el("table", {}, el("thead", {}, head), el("tbody", {}, ...rows)));
    setText(this.note, texts.graph.tableNote);
  }

  // again draws with the unit or the colours that are in force now.
  again() {
    if (this.node.hidden || !this.#got) return;
    if (this.#asTable) this.#tabulate();
    else loadLibrary().then((uPlot) => this.#draw(uPlot), () => {});
  }

  #size() {
    const width = Math.max(this.box.clientWidth, 200);
    return { width, height: Math.round(Math.min(420, Math.max(260, width * 0.5))) };
  }

  #resize() {
    if (this.#chart && this.box.clientWidth > 0 && Math.abs(this.#chart.width - this.box.clientWidth) > 1) this.#chart.setSize(this.#size());
  }
}

function axis(more) {
  const text = css("--text");
  const grid = { stroke: css("--grid"), width: 1 };
  return { stroke: text, grid, ticks: grid, font: "13px system-ui, sans-serif", ...more };
}

function keyItem(colour, width, dash, words) {
  const ns = "http://www.w3.org/2000/svg";
  const svg = document.createElementNS(ns, "svg");
  svg.setAttribute("viewBox", "0 0 40 8");
  svg.setAttribute("aria-hidden", "true");
  const line = document.createElementNS(ns, "path");
  line.setAttribute("d", "M0 4h40");
  line.setAttribute("stroke", colour);
  line.setAttribute("stroke-width", width);
  line.setAttribute("stroke-dasharray", dash.join(" "));
  svg.append(line);
  return el("li", {}, svg, el("span", { text: words }));
}
