// Draws lines, bands of limits and marks with uPlot, one panel for each unit, and takes fingers, mouse and wheel. It knows nothing of where
// the lines come from.
import { el } from "./dom.js";
import { colourOf, gather, keyOf, pathOf } from "./marks.js";
import { texts } from "./texts.js";
import * as units from "./units.js";

const axisWidth = 46; // px
const rightEdge = 12; // px beside the plot
const tapWithin = 22; // px around a mark; a thumb is about 44 wide. Ours, no source
const dragAfter = 6; // px before a touch is a drag
const markSize = 7; // px, half of it
const reachOfCount = 28; // px that a number beside a mark may need
const small = { size: 5, kinds: ["visit", "chore", "done", "note"] }; // what comes every day
// The lines of limits, each with a dash of its own.
export const limitLines = [
  { key: "cluster_hot_c", role: "cluster", end: "hot", width: 1.5, dash: [14, 3, 2, 3] }, { key: "cluster_cold_c", role: "cluster", end: "cold", width: 1.5, dash: [2, 2] },
  { key: "air_hot_c", role: "air", end: "hot", width: 1.5, dash: [8, 3, 2, 3, 2, 3] }, { key: "air_cold_c", role: "air", end: "cold", width: 1.5, dash: [2, 6] },
  { key: "air_hot_urgent_c", role: "air", end: "urgent", width: 1.5, dash: [] },
];
const zones = [["cluster", "cluster_cold_c", "cluster_hot_c"], ["air", "air_cold_c", "air_hot_c"]];

let library = null;

// loadChart fetches uPlot and its style sheet, once.
export function loadChart() {
  library ??= new Promise((done, fail) => {
    const at = (name) => new URL(`vendor/${name}`, import.meta.url).href;
    const sheet = new Promise((ok, bad) => document.head.append(el("link", { rel: "stylesheet", href: at("uplot-1.6.32.min.css"), onload: ok, onerror: () => bad(new Error("uPlot")) })));
    const script = new Promise((ok, bad) => document.head.append(el("script", { src: at("uplot-1.6.32.min.js"), onload: ok, onerror: () => bad(new Error("uPlot")) })));
    Promise.all([sheet, script]).then(() => done(globalThis.uPlot), fail);
  });
  library.catch(() => (library = null));
  return library;
}

export const css = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();

const inUnit = (unit) => (unit === "C" ? (v) => (v === null || v === undefined ? v : units.degrees(v)) : (v) => v);

export class Chart {
  #panels = new Map(); // unit → {plot, signature}
  #picture = null;
  #places = []; // of the marks that are drawn
  #colours = {};
  #frame = 0;
  #sizes = new ResizeObserver(() => this.#resize());
  cursor = null; // s
  selected = null; // key of a mark

  // on: moved() after the view was changed by hand, pointed(t) when a time was pointed at, picked(mark).
  constructor(view, on) {
    this.view = view;
    this.on = on;
    this.node = el("div", { class: "chart" });
    this.#listen();
    this.#sizes.observe(this.node);
  }

  // discard lets go of what a browser would keep: uPlot listens on the window.
  discard() {
    this.#sizes.disconnect();
    cancelAnimationFrame(this.#frame);
    this.recolour();
  }

  get plotWidth() {
    return Math.max((this.node.clientWidth || 360) - axisWidth - rightEdge, 150);
  }

  // recolour forgets the colours and everything drawn with them.
  recolour() {
    this.#colours = {};
    for (const p of this.#panels.values()) p.plot.destroy();
    this.#panels.clear();
    this.node.replaceChildren();
  }

  colour(name) {
    return (this.#colours[name] ??= css(name));
  }

  draw(uPlot, picture) {
    this.#picture = picture;
    const wanted = Map.groupBy(picture.lines, (l) => l.unit);
    for (const [unit, p] of this.#panels) {
      if (!wanted.has(unit)) {
        p.plot.destroy();
        this.#panels.delete(unit);
      }
    }
    for (const [unit, lines] of wanted) {
      const signature = `${units.display()} ${units.timezone()} ${lines.map((l) => `${l.key}${l.wide}`)}`;
      const data = this.#data(picture.times, lines, unit);
      let p = this.#panels.get(unit);
      if (p?.signature !== signature) {
        p?.plot.destroy();
        p = { signature, lines, plot: this.#make(uPlot, unit, lines, data, wanted.size) };
        this.#panels.set(unit, p);
      } else {
        p.lines = lines;
        p.plot.batch(() => {
          p.plot.setData(data, false);
          p.plot.setScale("x", { min: this.view.from / 1e3, max: this.view.to / 1e3 });
        });
      }
    }
  }

  #data(times, lines, unit) {
    const to = inUnit(unit);
    return [times, ...lines.flatMap((l) => (l.wide ? [l.mean, l.low, l.high] : [l.mean]).map((v) => Array.from(v, to)))];
  }

  #make(uPlot, unit, lines, data, panels) {
    const series = [{}];
    const bands = [];
    for (const l of lines) {
      const stroke = this.colour(l.colour);
      series.push({ stroke, width: l.width, dash: l.dash, points: { show: true, size: 5, fill: stroke, filter: () => this.#alone(unit, l.key) } });
      if (!l.wide) continue;
      for (let i = 0; i < 2; i++) series.push({ width: 0, points: { show: false } });
      bands.push({ series: [series.length - 1, series.length - 2], fill: `color-mix(in srgb, ${stroke} 22%, transparent)` });
    }
    const local = Intl.DateTimeFormat().resolvedOptions().timeZone === units.timezone();
    return new uPlot({
      ...this.#size(unit), padding: [8, rightEdge, 0, 0], series, bands, legend: { show: false }, cursor: { show: false },
      tzDate: local ? (t) => new Date(t * 1e3) : (t) => uPlot.tzDate(new Date(t * 1e3), units.timezone()),
      scales: { x: { time: !this.#picture.ages, min: this.view.from / 1e3, max: this.view.to / 1e3 }, y: { range: (u, low, high) => this.#range(unit, u, low, high) } },
      axes: [
        this.#axis({ space: 64, size: 44, values: (_, ticks, __, ___, every) => ticks.map((t) => this.#tick(t, every)), ...(this.#picture.ages && { incrs: [1, 2, 5, 7, 10, 14, 28, 50].map((d) => d * 86400) }) }),
        this.#axis({ size: axisWidth, incrs: unit === "C" ? [1, 2, 5, 10, 20, 50] : [1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000], values: (_, ticks) => ticks.map((v) => (unit === "C" ? `${v}°` : v)) }),
      ],
      hooks: { drawClear: [(u) => this.#drawLimits(u, unit)], draw: [(u) => this.#drawAbove(u, unit, panels)] },
    }, data, this.node);
  }

  #alone(unit, key) {
    return this.#panels.get(unit)?.lines.find((l) => l.key === key)?.alone ?? this.#picture.lines.find((l) => l.key === key)?.alone ?? [];
  }

  #axis(more) {
    const grid = { stroke: this.colour("--grid"), width: 1 };
    return { stroke: this.colour("--text"), grid, ticks: grid, font: "13px system-ui, sans-serif", ...more };
  }

  #tick(t, every) {
    if (this.#picture.ages) return texts.graph.ageTick(Math.round(t / 86400));
    return units.axisTick(t * 1e3, every);
  }

  #size(unit) {
    const width = Math.max(this.node.clientWidth, 200);
    return { width, height: unit === "C" ? Math.round(Math.min(420, Math.max(270, width * 0.45))) : 140 };
  }

  #resize() {
    const width = this.node.clientWidth;
    if (width === 0) return;
    for (const [unit, p] of this.#panels) if (Math.abs(p.plot.width - width) > 1) p.plot.setSize(this.#size(unit));
  }

  #range(unit, u, low, high) {
    if (unit !== "C") return low === null ? [0, 100] : [Math.floor(low - 2), Math.ceil(high + 2)];
    let [from, to] = [low ?? Infinity, high ?? -Infinity];
    for (const b of this.#limitsIn(u)) {
      for (const l of limitLines) {
        if (l.end === "urgent" || b[l.key] === null || !this.#has(l.role)) continue;
        from = Math.min(from, units.degrees(b[l.key]));
        to = Math.max(to, units.degrees(b[l.key]));
      }
    }
    return from > to ? [units.degrees(0), units.degrees(40)] : [Math.floor(from - 1), Math.ceil(to + 1)];
  }

  #has = (role) => this.#picture.lines.some((l) => l.role === role);
  #limitsIn = (u) => (this.#picture.limits ?? []).filter((b) => b.to > u.scales.x.min && b.from < u.scales.x.max);

  #drawLimits(u, unit) {
    if (unit !== "C" || !this.#picture.limits) return;
    const { ctx } = u;
    const shown = this.#limitsIn(u);
    const x = (t) => u.valToPos(Math.min(Math.max(t, u.scales.x.min), u.scales.x.max), "x", true);
    const y = (c) => u.valToPos(units.degrees(c), "y", true);
    ctx.save();
    ctx.beginPath();
    ctx.rect(u.bbox.left, u.bbox.top, u.bbox.width, u.bbox.height);
    ctx.clip();
    for (const [role, cold, hot] of zones) {
      if (!this.#has(role)) continue;
      ctx.fillStyle = `color-mix(in srgb, ${this.colour(`--line-${role}`)} 12%, transparent)`;
      for (const b of shown) if (b[cold] !== null && b[hot] !== null) ctx.fillRect(x(b.from), y(b[hot]), x(b.to) - x(b.from), y(b[cold]) - y(b[hot]));
    }
    for (const l of limitLines) {
      if (!this.#has(l.role)) continue;
      ctx.strokeStyle = this.colour(`--line-${l.role}`);
      ctx.lineWidth = l.width * devicePixelRatio;
      ctx.setLineDash(l.dash.map((d) => d * devicePixelRatio));
      ctx.beginPath();
      let open = false;
      for (const b of shown) {
        if (b[l.key] === null || b[l.key] === undefined) {
          open = false;
          continue;
        }
        if (open) ctx.lineTo(x(b.from), y(b[l.key]));
        else ctx.moveTo(x(b.from), y(b[l.key]));
        ctx.lineTo(x(b.to), y(b[l.key]));
        open = true;
      }
      ctx.stroke();
    }
    ctx.restore();
  }

  #drawAbove(u, unit) {
    const { ctx } = u;
    const px = devicePixelRatio;
    ctx.save();
    ctx.beginPath();
    ctx.rect(u.bbox.left - markSize * px, u.bbox.top, u.bbox.width + 2 * markSize * px, u.bbox.height);
    ctx.clip();
    if (unit === "C") this.#drawMarks(u, ctx, px);
    if (this.cursor !== null && this.cursor >= u.scales.x.min && this.cursor <= u.scales.x.max) {
      const x = Math.round(u.valToPos(this.cursor, "x", true));
      ctx.strokeStyle = this.colour("--text");
      ctx.lineWidth = 1.5 * px;
      ctx.setLineDash([4 * px, 3 * px]);
      ctx.beginPath();
      ctx.moveTo(x, u.bbox.top);
      ctx.lineTo(x, u.bbox.top + u.bbox.height);
      ctx.stroke();
    }
    ctx.restore();
  }

  #drawMarks(u, ctx, px) {
    this.#places = [];
    const { min, max } = u.scales.x;
    const endOf = (m) => (m.on ? max : m.until ?? m.at);
    const seen = (this.#picture.marks ?? []).filter((m) => endOf(m) >= min && m.at <= max).toReversed();
    for (const m of seen.filter((m) => m.kind in { urgent: 1, warning: 1 } && endOf(m) > m.at)) { // how long it lasted
      const [from, to] = [m.at, endOf(m)].map((t) => u.valToPos(Math.min(Math.max(t, min), max), "x", true));
      ctx.fillStyle = this.colour(colourOf(m.kind));
      ctx.fillRect(from, u.bbox.top + (m.kind === "urgent" ? 0 : 5) * px, Math.max(to - from, 2 * px), 4 * px);
    }
    const lines = this.#panels.get("C")?.lines ?? this.#picture.lines.filter((l) => l.unit === "C");
    const bottom = u.bbox.top + u.bbox.height - (markSize + 2) * px;
    for (const { x: left, marks } of gather(seen, (m) => u.valToPos(Math.max(m.at, min), "x", true) / px)) {
      const [m] = marks;
      const x = left * px;
      const colour = this.colour(colourOf(m.kind));
      const at = Math.max(m.at, min);
      const half = small.kinds.includes(m.kind) ? small.size : markSize;
      const i = nearest(this.#picture.times, at);
      const value = lines.map((l) => l.mean[i]).find((v) => v !== null && v !== undefined);
      let y = value === undefined ? bottom : Math.min(u.valToPos(units.degrees(value), "y", true), bottom);
      y = this.#free(left, y / px, (u.bbox.top / px) + markSize, bottom / px) * px;
      this.#places.push({ x: left, y: y / px, marks });
      ctx.save();
      ctx.translate(x - half * px, y - half * px);
      ctx.scale((2 * half * px) / 16, (2 * half * px) / 16);
      ctx.setLineDash([]);
      ctx.strokeStyle = this.colour("--card");
      ctx.lineWidth = 5;
      ctx.stroke(pathOf(m.kind));
      ctx.fillStyle = colour;
      ctx.fill(pathOf(m.kind), "evenodd");
      if (marks.some((one) => keyOf(one) === this.selected)) {
        ctx.strokeStyle = this.colour("--text");
        ctx.lineWidth = 2.5;
        ctx.beginPath();
        ctx.arc(8, 8, 14, 0, 7);
        ctx.stroke();
      }
      ctx.restore();
      if (marks.length > 1) this.#count(u, ctx, px, { x, y, half, more: marks.length - 1 });
    }
  }

  // #free is the height nearest above y, else below it, at which no mark lies yet.
  #free(x, y, top, bottom) {
    const taken = (at) => this.#places.some((p) => Math.hypot(p.x - x, p.y - at) < 2 * markSize);
    for (const by of [-2 * markSize, 2 * markSize]) {
      for (let at = y; at >= top && at <= bottom; at += by) if (!taken(at)) return at;
    }
    return y;
  }

  // #count writes how many more stand at a mark, beside it.
  #count(u, ctx, px, { x, y, half, more }) {
    const right = x < u.bbox.left + u.bbox.width - reachOfCount * px;
    const at = [texts.graph.others(more), x + (right ? half + 1 : -half - 1) * px, y];
    ctx.save();
    ctx.font = `700 ${11 * px}px system-ui, sans-serif`;
    ctx.textBaseline = "middle";
    ctx.textAlign = right ? "left" : "right";
    ctx.setLineDash([]);
    ctx.lineJoin = "round";
    ctx.lineWidth = 3 * px;
    ctx.strokeStyle = this.colour("--card");
    ctx.strokeText(...at);
    ctx.fillStyle = this.colour("--text");
    ctx.fillText(...at);
    ctx.restore();
  }

  // again draws what is drawn, soon: where the view, the cursor or the selection has changed.
  again(moved = false) {
    this.#moved ||= moved;
    this.#frame ||= requestAnimationFrame(() => {
      this.#frame = 0;
      for (const { plot } of this.#panels.values()) {
        if (this.#moved) plot.setScale("x", { min: this.view.from / 1e3, max: this.view.to / 1e3 });
        else plot.redraw(false);
      }
      this.#moved = false;
    });
  }
  #moved = false;

  point(t) {
    this.cursor = t;
    this.again();
  }

  #shareAt = (e) => Math.min(1, Math.max(0, (e.clientX - this.node.getBoundingClientRect().left - axisWidth) / this.plotWidth));
  #timeAt = (e) => (this.view.from + this.#shareAt(e) * this.view.length) / 1e3;

  #listen() {
    const down = new Map(); // pointer → {x, y, from x}
    let pinch = 0;
    let dragged = false;
    const distance = () => Math.abs([...down.values()][0].x - [...down.values()][1].x);
    this.node.addEventListener("pointerdown", (e) => {
      if (e.button !== 0) return;
      down.set(e.pointerId, { x: e.clientX, start: e.clientX });
      if (down.size === 1) dragged = false;
      if (down.size === 2) pinch = Math.max(distance(), 20);
    });
    this.node.addEventListener("pointermove", (e) => {
      const p = down.get(e.pointerId);
      if (!p) {
        if (e.pointerType === "mouse") this.on.pointed(this.#timeAt(e));
        return;
      }
      const by = e.clientX - p.x;
      if (down.size === 1) {
        if (!dragged && Math.abs(e.clientX - p.start) < dragAfter) return;
        if (!dragged) this.node.setPointerCapture(e.pointerId);
        dragged = true;
        p.x = e.clientX;
        this.view.move(-by / this.plotWidth);
      } else {
        p.x = e.clientX;
        dragged = true;
        const now = Math.max(distance(), 20);
        const middle = [...down.values()].reduce((sum, q) => sum + q.x, 0) / 2;
        this.view.zoom(pinch / now, this.#shareAt({ clientX: middle }));
        pinch = now;
      }
      this.again(true);
      this.on.moved();
    });
    const up = (e) => {
      if (!down.delete(e.pointerId) || e.type !== "pointerup" || dragged) return;
      this.#tap(e);
    };
    for (const kind of ["pointerup", "pointercancel"]) this.node.addEventListener(kind, up);
    this.node.addEventListener("wheel", (e) => {
      const sideways = e.shiftKey || Math.abs(e.deltaX) > Math.abs(e.deltaY);
      if (!sideways && !e.ctrlKey && !this.node.parentElement?.contains(document.activeElement)) return; // the page scrolls
      e.preventDefault();
      if (sideways) this.view.move((e.deltaX || e.deltaY) / this.plotWidth);
      else this.view.zoom(Math.exp(Math.max(-1, Math.min(1, e.deltaY / 300))), this.#shareAt(e));
      this.again(true);
      this.on.moved();
    }, { passive: false });
  }

  // #next is the first of a place's marks, and after one of them was picked the one that follows.
  #next = (marks) => marks[(marks.findIndex((m) => keyOf(m) === this.selected) + 1) % marks.length];

  #tap(e) {
    const plot = this.#panels.get("C")?.plot;
    const box = plot?.root.getBoundingClientRect();
    const near = box && this.#places.map((p) => ({ p, far: Math.hypot(p.x - (e.clientX - box.left), p.y - (e.clientY - box.top)) })).sort((a, b) => a.far - b.far)[0];
    if (near && near.far < tapWithin) this.on.picked(this.#next(near.p.marks));
    else this.on.pointed(this.#timeAt(e));
  }
}

// nearest is the place of the value nearest to v in a sorted list.
export function nearest(list, v) {
  let [low, high] = [0, list.length - 1];
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (list[middle] < v) low = middle;
    else high = middle;
  }
  return v - list[low] <= list[high] - v ? low : high;
}
