// What was measured and what happened in a nest over a span, fetched once, kept for a while and unpacked for drawing.

const kept = 24; // answers; ours, no source
const patience = 15e3; // ms
const margin = 0.5; // of a span, that is read beyond what is seen, so that it can be moved

const cache = []; // {nest, data}, the newest last

async function ask(path, signal) {
  const answer = await fetch(path, { signal: AbortSignal.any([signal, AbortSignal.timeout(patience)].filter(Boolean)) });
  const body = await answer.json();
  if (!answer.ok) throw new Error(body.error);
  return body;
}

export const broods = async () => (await ask("api/broods")).broods;

// unpack makes of a line its values by bucket: null where there is a gap, undefined where there is only no reading.
function unpack(line, n, step, gapAfter) {
  const [mean, low, high] = [new Array(n), new Array(n), new Array(n)];
  const alone = [];
  let last = -1; // bucket with a reading
  let joined = 0; // buckets with one since the last gap
  const gap = (to) => {
    if (last < 0 || (to - last) * step < gapAfter(last)) return;
    for (const values of [mean, low, high]) values.fill(null, last + 1, Math.min(to, n));
    if (joined === 1) alone.push(last);
    joined = 0;
  };
  for (let r = 0, i = 0; r < line.runs.length; r += 2) {
    for (let b = line.runs[r]; b < line.runs[r] + line.runs[r + 1]; b++, i++) {
      gap(b);
      mean[b] = line.mean[i] / 100;
      low[b] = line.low ? mean[b] - line.low[i] / 100 : mean[b];
      high[b] = line.high ? mean[b] + line.high[i] / 100 : mean[b];
      last = b;
      joined++;
    }
  }
  gap(Infinity);
  return { ...line, mean, low, high, wide: Boolean(line.low), alone };
}

const hour = 3600; // s

function read(body) {
  const [from, to, fine] = [body.from, body.to, body.fine_from ?? body.to].map((t) => Date.parse(t) / 1e3);
  const step = body.step_s ?? 0;
  const starts = body.starts ?? Array.from({ length: Math.round((to - from) / step) }, (_, i) => from + i * step);
  const hourly = hour + step + 1; // hourly values lie so far apart in narrower buckets; a wider one without any is a gap
  const gapAfter = (line) => (step ? (b) => (starts[b] < fine && step < hour ? Math.max(line.gap_s, hourly) : line.gap_s) : () => Infinity);
  return {
    from, to, step, starts, at: performance.now(), first: body.first ? Date.parse(body.first) : to * 1e3,
    times: step ? starts.map((t) => t + step / 2) : starts, // a mean stands in the middle of what it is of
    lines: body.lines.map((l) => unpack(l, starts.length, step, gapAfter(l))),
    limits: body.limits.map((b) => ({ ...b, from: Date.parse(b.from) / 1e3, to: Date.parse(b.to) / 1e3 })), limitsLeft: body.limits_left,
    marks: body.marks.map((m) => ({ ...m, at: Date.parse(m.at) / 1e3, until: m.until ? Date.parse(m.until) / 1e3 : null })), left: body.marks_left,
  };
}

const iso = (ms) => new Date(ms).toISOString();

// span reads a stretch in so many buckets, with a margin on both sides.
export async function span(nest, view, buckets, { signal, marks } = {}) {
  const more = margin * view.length;
  const [from, to] = [view.from - more, Math.min(view.now, view.to + more)];
  const asked = new URLSearchParams({ nest, from: iso(from), to: iso(to), buckets: Math.min(2000, Math.ceil((buckets * (to - from)) / view.length)) });
  if (marks !== undefined) asked.set("marks", marks);
  const data = read(await ask(`api/nest?${asked}`, signal));
  data.asked = { from, to };
  keep(nest, data, marks);
  return data;
}

function keep(nest, data, marks) {
  if (marks === 0) return;
  const same = cache.findIndex((c) => c.nest === nest && c.data.step === data.step && c.data.from >= data.from && c.data.to <= data.to);
  if (same >= 0) cache.splice(same, 1);
  cache.push({ nest, data });
  if (cache.length > kept) cache.shift();
}

// known is the finest answer that shows a view, undefined where none does.
export function known(nest, view) {
  const shows = ({ data }) => data.asked.from <= view.from && data.to * 1e3 >= Math.min(view.to, view.now - data.step * 1e3);
  return cache.filter((c) => c.nest === nest && shows(c)).sort((a, b) => a.data.step - b.data.step || b.data.at - a.data.at)[0]?.data;
}

// good reports whether an answer is fine enough for a view, and recent enough where it ends now.
export const good = (data, view, buckets) => {
  const old = performance.now() - data.at;
  return fineEnough(data, view, buckets) && old < (view.follows ? Math.min(Math.max(fresh, data.step * 1e3), settled) : settled);
};
export const fineEnough = (data, view, buckets) => data.step <= coarser * Math.max(view.length / 1e3 / buckets, 1);
const fresh = 10e3; // ms; ours, no source
export const settled = 300e3; // ms, after which the past is read again too: an entry may have been corrected, or a limit changed; ours, no source
const coarser = 2.6; // the widest step from one width of buckets to the next

// rows reads a stretch by the hour, day or week.
export async function rows(nest, view, by, signal) {
  return read(await ask(`api/nest?${new URLSearchParams({ nest, from: iso(view.from), to: iso(view.to), by, marks: 0 })}`, signal));
}
