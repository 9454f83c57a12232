// The lines of one nest as a graph wants them, and of two nests or two litters, one over the other.
import * as data from "./lines.js";
import { spans, View } from "./span.js";
import { texts } from "./texts.js";

// Each line has its own colour, dash and width, so that it is told apart without colour. Colours come from the style sheet.
const styles = {
  cluster: { colour: "--line-cluster", width: 3, dash: [] }, "cluster-2": { colour: "--line-cluster-2", width: 3, dash: [14, 4] }, air: { colour: "--line-air", width: 2, dash: [8, 4] },
  cage: { colour: "--line-cage", width: 2, dash: [10, 3, 2, 3] }, outside: { colour: "--line-outside", width: 2, dash: [2, 4] }, co2: { colour: "--line-air", width: 2, dash: [] },
};
const second = { cluster: { colour: "--line-cluster-b", width: 3, dash: [12, 6] }, air: { colour: "--line-air-b", width: 2, dash: [2, 3] } };
const first = { cluster: { colour: "--line-cluster", width: 3, dash: [] }, air: { colour: "--line-air", width: 2, dash: [] } };

const nameOf = (l) => (l.quantity === "temperature" || l.role === "co2" ? texts.role[l.role] : `${texts.role[l.role]}, ${texts.quantity[l.quantity]}`);

const drawable = ["C", "%", "ppm"];

const dress = (l) => ({ ...l, key: `${l.role} ${l.quantity}`, name: nameOf(l), ...(styles[l.role] ?? styles.air) });

const picture = (d) => ({ ...d, lines: d.lines.filter((l) => drawable.includes(l.unit)).map(dress) });
const pictures = new WeakMap();
const pictureOf = (d) => d && (pictures.get(d) ?? pictures.set(d, picture(d)).get(d));

const ahead = new Set(); // what is being read ahead

// oneNest is the source of a nest's graph.
export function oneNest(nest) {
  let began = null; // of the archive
  const seen = (d) => {
    began = d.first;
    return pictureOf(d);
  };
  return {
    bounds: (state) => ({ first: began ?? Date.parse(state.time) - 2 * spans.year, now: Date.parse(state.time) }),
    known: (view) => pictureOf(data.known(nest, view)),
    good: data.good,
    read: async (view, buckets, signal) => seen(await data.span(nest, view, buckets, { signal })),
    rows: async (view, by, signal) => picture(await data.rows(nest, view, by, signal)),
    ahead: (view, buckets) => readAhead(nest, view, buckets, seen),
  };
}

// readAhead reads the next longer span, the next shorter one and all, up to now, while nothing else is to do: one tap leads there.
async function readAhead(nest, view, buckets, seen) {
  if (ahead.has(nest) || navigator.connection?.saveData) return;
  ahead.add(nest);
  try {
    await new Promise((done) => (globalThis.requestIdleCallback ?? setTimeout)(done, { timeout: 1000 }));
    const names = Object.keys(spans);
    const at = names.findIndex((name) => spans[name] >= view.length - 1);
    for (const name of [names[at + 1] ?? "all", "all", names[at - 1]].filter(Boolean)) {
      const next = new View();
      next.bound(view.first, view.now);
      next.show(name);
      const have = data.known(nest, next);
      if (!have || !data.fineEnough(have, next, buckets)) seen(await data.span(nest, next, buckets));
    }
  } catch {
    // it is asked for again when somebody goes there
  } finally {
    ahead.delete(nest);
  }
}

const compared = ["cluster", "air"];
const order = [...compared, "outside"];

// over lays the lines of several pictures over one another, each by its own place in time. shift is subtracted from its times.
function over(parts, { outside }) {
  const step = Math.max(...parts.map((p) => p.data.step));
  const from = Math.min(...parts.map((p) => p.data.starts[0] - p.shift));
  const to = Math.max(...parts.map((p) => p.data.starts.at(-1) - p.shift));
  const starts = Array.from({ length: Math.round((to - from) / step) + 1 }, (_, i) => from + i * step);
  const lines = new Map();
  for (const p of parts) {
    const places = p.data.starts.map((t) => Math.round((t - p.shift - from) / step));
    for (const l of p.data.lines) {
      const common = outside && l.role === "outside" && l.quantity === "temperature";
      if (!common && !(compared.includes(l.role) && l.quantity === "temperature")) continue;
      const key = common ? "outside" : `${p.which} ${l.role}`;
      if (!lines.has(key)) {
        const style = common ? styles.outside : (p.which === 0 ? first : second)[l.role];
        lines.set(key, { ...l, key, name: common ? texts.role.outside : `${p.name}, ${texts.role[l.role]}`, ...style, mean: new Array(starts.length), low: new Array(starts.length), high: new Array(starts.length), alone: [] });
      }
      const into = lines.get(key);
      into.wide ||= l.wide;
      places.forEach((to, i) => {
        if (l.mean[i] === undefined) return;
        if (into.mean[to] === undefined || into.mean[to] === null) [into.mean[to], into.low[to], into.high[to]] = [l.mean[i], l.low[i], l.high[i]];
        else if (l.mean[i] !== null) [into.low[to], into.high[to]] = [Math.min(into.low[to], l.low[i]), Math.max(into.high[to], l.high[i])];
      });
      into.alone.push(...l.alone.map((i) => places[i]));
    }
    if (p.shift === 0) places.forEach((to, i) => (starts[to] = p.data.starts[i])); // a day is not always 24 h
  }
  return { starts, step, times: starts.map((t) => t + step / 2), lines: [...lines.values()].sort((a, b) => order.indexOf(a.role) - order.indexOf(b.role)) };
}

// twoNests is the source of a graph of two nests over the same time.
export function twoNests(a, b) {
  const one = oneNest(a);
  let pair = null;
  const make = (all) => {
    if (pair?.all.every((d, i) => d === all[i])) return pair.picture;
    pair = { all, picture: over(all.map((d, which) => ({ data: d, shift: 0, which, name: [a, b][which] })), { outside: true }) };
    pair.picture.first = Math.min(...all.map((d) => d.first));
    return pair.picture;
  };
  const known = (view) => {
    const all = [a, b].map((nest) => data.known(nest, view));
    return all.every(Boolean) && all[0].step === all[1].step ? all : null;
  };
  return {
    bounds: one.bounds,
    known: (view) => known(view) && make(known(view)),
    good: (_, view, buckets) => known(view).every((d) => data.good(d, view, buckets)),
    read: async (view, buckets, signal) => make(await Promise.all([a, b].map((nest) => data.span(nest, view, buckets, { signal })))),
    rows: async (view, by, signal) => over((await Promise.all([a, b].map((nest) => data.rows(nest, view, by, signal)))).map((d, which) => ({ data: { ...d, step: rowStep[by] }, shift: 0, which, name: [a, b][which] })), { outside: true }),
  };
}

const rowStep = { hour: 3600, day: 86400, week: 7 * 86400 };
const lastDay = 56; // of age that can be looked at: weaned by then, in common practice, no source

// twoLitters is the source of a graph of two litters by age: time 0 is the beginning of the day of birth.
export function twoLitters(a, b) {
  const length = (l, now) => Math.min(lastDay * spans.day, (l.ended ? Date.parse(l.ended) : now) - Date.parse(l.day_zero));
  let now = 0;
  // parts reads what of a stretch of ages each litter lay where. nests that are not configured any more are left out.
  const parts = async (view, read) => {
    const all = [];
    for (const [which, l] of [a, b].entries()) {
      const zero = Date.parse(l.day_zero);
      for (const s of l.stays) {
        const from = Math.max(zero + view.from, Date.parse(s.from));
        const to = Math.min(zero + view.to, s.until ? Date.parse(s.until) : now);
        if (to - from < 60e3) continue;
        all.push(read(s.nest, { from, to, length: to - from, now: to }, (to - from) / view.length).then((d) => ({ data: clip(d, from / 1e3, to / 1e3), shift: zero / 1e3, which, name: texts.compare.litter(l.litter, l.doe) }), () => null));
      }
    }
    return (await Promise.all(all)).filter(Boolean);
  };
  return {
    length: "all", ages: true,
    bounds: (state) => {
      now = Date.parse(state.time);
      return { first: 0, now: Math.max(length(a, now), length(b, now), spans.day) };
    },
    known: () => null,
    good: () => false,
    read: async (view, buckets, signal) => {
      const got = await parts(view, (nest, v, share) => data.span(nest, v, Math.max(10, Math.round(buckets * share)), { signal, marks: 0 }));
      if (got.length === 0) throw new Error(texts.graph.empty);
      return { ...over(got, { outside: false }), ages: true, limits: limitsOf(got, a) };
    },
    rows: async (view, _, signal) => {
      const got = await parts(view, (nest, v) => data.rows(nest, v, "day", signal));
      return { ...over(got.map((p) => ({ ...p, data: { ...p.data, step: rowStep.day } })), { outside: false }), ages: true };
    },
  };
}

// clip leaves out what lies outside a stay: another litter's.
function clip(d, from, to) {
  const end = (i) => (d.step ? d.starts[i] + d.step : d.starts[i + 1] ?? Infinity);
  const out = (i) => end(i) <= from || d.starts[i] >= to;
  const cut = (values) => values.map((v, i) => (out(i) ? undefined : v));
  return { ...d, lines: d.lines.map((l) => ({ ...l, mean: cut(l.mean), low: cut(l.low), high: cut(l.high) })) };
}

// limitsOf are the first litter's, by age.
const limitsOf = (parts, l) => parts.filter((p) => p.which === 0).flatMap((p) => p.data.limits.filter((b) => b.litter === l.litter && b.day !== undefined).map((b) => ({ ...b, from: b.from - p.shift, to: b.to - p.shift })));
