// What stands in more than one room: the verdict, lists of alarms and chores, what cannot be seen, and the weather.
import { el, keyed, setClass, setText, shape } from "./dom.js";
import { alarmKey, byWords, makeAlarm, updateAlarm } from "./alarm.js";
import { fullyWatched, unjudged } from "./nest.js";
import { texts } from "./texts.js";
import * as units from "./units.js";

export const rank = { urgent: 3, warning: 2, notice: 1, none: 0 };

export const bySeverity = (a, b) => rank[b] - rank[a];

// inOrder sorts the most severe first, then the longest standing.
export const inOrder = (list) => [...list].sort((a, b) => bySeverity(a.severity, b.severity) || Date.parse(a.since) - Date.parse(b.since));

// callWords says what alarms ask for: to go, while nobody has seen them; after that, that somebody has, and what stands all the same.
function callWords(alarms, worst, now) {
  const waiting = alarms.filter((a) => a.status === "unacknowledged");
  const next = waiting.map((a) => a.severity).sort(bySeverity)[0] ?? "none";
  const of = (list, severity) => list.filter((a) => a.severity === severity);
  if (rank[worst] <= rank.notice) return [texts.verdict[worst](of(alarms, worst).length)];
  const words = rank[next] > rank.notice ? [texts.verdict[next](of(waiting, next).length)] : [];
  const answered = of(alarms, worst).filter((a) => !waiting.includes(a));
  if (answered.length === 0) return words;
  const stands = texts.verdict.stands[worst](answered.length);
  const first = rank[next] < rank[worst] ? "unshift" : "push"; // what is worst leads, whoever has seen it
  const last = answered.filter((a) => a.status === "acknowledged").sort((a, b) => Date.parse(b.acknowledged) - Date.parse(a.acknowledged))[0];
  words[first](last ? texts.verdict.seen(stands, last.acknowledged ? units.moment(Date.parse(last.acknowledged), now) : "", byWords(last)) : texts.verdict.uncalled(stands));
  return words;
}

const namesShown = 4; // nests in the verdict; the list of what cannot be seen has them all. Ours, no source

// watchWords says what is not watched, and whether anything is.
function watchWords(nests, worst) {
  if (nests.length === 0) return { words: [texts.verdict.empty], full: false, gap: false, allBlind: true };
  const of = nests.map((n) => ({ id: n.id, ...unjudged(n) }));
  const open = of.filter((n) => n.all || n.gaps.length > 0);
  const names = open.slice(0, namesShown).map((n) => (n.all ? n.id : texts.verdict.unwatchedFor(n.id, n.gaps.join(", "))));
  if (open.length > namesShown) names.push(texts.verdict.others(open.length - namesShown));
  const partly = nests.filter((n, i) => !open.includes(of[i]) && !fullyWatched(n)).length;
  const damp = nests.filter((n) => n.judged.some((j) => j.danger === "damp" && j.judged)).length;
  const words = [open.length > 0 ? texts.verdict.unwatched(names.join(", ")) : "", partly > 0 ? texts.verdict.blind(partly) : ""].filter(Boolean);
  const full = words.length === 0;
  if (full && worst === "none") words.push(damp < nests.length ? texts.verdict.damp(nests.length, damp) : texts.verdict.watched(nests.length));
  return { words, full, gap: open.length > 0, allBlind: of.every((n) => n.all) };
}

export function updateVerdict(node, state, old) {
  const alarms = state ? state.alarms.filter((a) => a.alarm) : [];
  const worst = alarms.map((a) => a.severity).sort(bySeverity)[0] ?? "none";
  let name = worst;
  let words;
  if (!state) [name, words] = ["blind", texts.verdict.waiting];
  else if (old) [name, words] = ["blind", texts.verdict.unknown];
  else {
    const past = state.nests.filter((x) => x.past_limit);
    const urgent = past.filter((x) => x.past_limit.urgent).length;
    const watch = watchWords(state.nests, worst);
    const called = worst !== "none" ? callWords(alarms, worst, Date.parse(state.time)) : past.length > 0 || watch.allBlind ? [] : [texts.verdict.none];
    const limits = [urgent > 0 ? texts.verdict.pastUrgent(urgent) : "", past.length > urgent ? texts.verdict.past(past.length - urgent) : ""].filter(Boolean);
    const high = rank[worst] > rank.notice;
    if (worst === "urgent" || (high && urgent === 0)) words = [...called, ...limits, ...watch.words];
    else if (high) words = [...limits, ...called, ...watch.words];
    else words = watch.gap ? [...limits, ...watch.words, ...called] : [...limits, ...called, ...watch.words];
    if (urgent > 0) name = "urgent";
    else if (worst === "none" && past.length > 0) name = "notice";
    if (!state.clock_synced) words.push(texts.verdict.clock);
    if (state.nobody_called) words.splice(1, 0, texts.verdict.nobody);
    const quiet = [...state.alarms, ...state.quiet].filter((a) => a.status === "shelved" || a.status === "out-of-service").length;
    if (quiet > 0) words.push(texts.verdict.quiet(quiet));
    if (name === "none" && (!watch.full || !state.clock_synced || state.nobody_called)) name = "blind";
  }
  const [first, ...more] = [words].flat();
  if (node.dataset.text === name + words) return;
  node.dataset.text = name + words;
  setClass(node, `verdict chip-${name}`);
  node.replaceChildren(shape(name), el("span", {}, el("strong", { text: first }), " ", more.join(" ")));
}

function section(box, heading) {
  if (!box.firstElementChild) box.append(el("h2", { text: heading }), el("ul", { class: "list" }), el("details", {}, el("summary"), el("ul", { class: "list" })));
  return { list: box.children[1], more: box.children[2] };
}

// updateList shows alarms or chores, the first so many and the rest behind a word that says how many.
export function updateList(box, heading, items, state, shown, how) {
  const { list, more } = section(box, heading);
  const within = box.contains(document.activeElement);
  const first = items.length <= shown + 1 ? items : items.slice(0, shown);
  const rest = items.slice(first.length);
  more.hidden = rest.length === 0;
  setText(more.firstElementChild, texts.more(rest.length));
  for (const [ul, part] of [[list, first], [more.lastElementChild, rest]]) {
    keyed(ul, part, alarmKey, makeAlarm, (li, a) => updateAlarm(li, a, state, how));
  }
  box.hidden = items.length === 0;
  if (within && !box.contains(document.activeElement)) document.getElementById("verdict").focus({ preventScroll: true }); // what was pressed is gone
}

export function updateBlind(box, state, old) {
  const { list } = section(box, texts.headings.blind);
  box.children[2].hidden = true;
  keyed(list, blindOf(state, old), (b) => b.key, () => el("li", { class: "blind" }, shape("blind"), el("div", {}, el("p"), el("small"))), (li, b) => {
    setClass(li, b.calm ? "calm" : "blind");
    const [words, raw] = li.lastElementChild.children;
    setText(words, b.text);
    setText(raw, b.raw ?? "");
  });
}

// sinkTroubles tells from a program's error what a person would call it; the first that fits counts.
const sinkTroubles = [
  ["untrusted", /x509|failed to verify certificate/i],
  ["refused", /user name or password|remote error: tls|unauthori[sz]ed|forbidden|\b40[13]\b/i],
  ["unreachable", /\bdial\b|network error|cannot connect|not connected|connection (refused|reset|lost|was lost)|no such host|no route|unreachable|broken pipe|\bEOF\b/i],
  ["slow", /timed? ?out|in time|deadline|no acknowledgement|not acknowledged/i],
];

const sinkWords = (s) => texts.sink[sinkTroubles.find(([, pattern]) => pattern.test(s.error))?.[0] ?? (s.misconfigured ? "wrong" : "other")](s.sink);

function blindOf(state, old) {
  const now = Date.parse(state.time);
  const since = (t) => units.span((now - Date.parse(t)) / 1e3);
  const list = old ? [{ key: "old", text: texts.outOfReach(units.clock(now)) }] : [];
  if (!state.clock_synced) list.push({ key: "clock", text: texts.clock });
  for (const b of state.buses) {
    if (b.hung_s > 0) list.push({ key: `bus ${b.bus}`, text: texts.busHung(b.bus, units.span(b.hung_s)) });
    else if (!b.up) list.push({ key: `bus ${b.bus}`, text: b.bus === "radio" ? texts.radioDown : texts.busDown(b.bus) });
  }
  for (const p of state.probes) {
    if (p.fresh) {
      for (const d of p.doubts) {
        const share = d === "failing" && p.error_ratio !== null ? texts.misses(Math.round(100 * p.error_ratio)) : "";
        list.push({ key: `doubt ${p.probe} ${d}`, text: texts.doubtful(p.probe, (texts.doubt[d] ?? d) + share) });
      }
      continue;
    }
    const silence = p.last_good ? texts.silentFor(since(p.last_good)) : texts.silentEver;
    list.push({ key: `probe ${p.probe}`, text: texts.blindProbe(p.probe, silence, p.last_fault && (texts.fault[p.last_fault] ?? p.last_fault)) });
  }
  for (const s of state.sinks) {
    if (!s.ok) list.push({ key: `sink ${s.sink}`, text: sinkWords(s) + (s.pending > 0 ? texts.sinkWaiting(s.pending) : ""), raw: s.error });
  }
  if (state.nobody_called) list.push({ key: "called", text: texts.nobodyCalled });
  const unwatched = state.nests.filter((n) => !fullyWatched(n)).map((n) => n.id);
  if (unwatched.length > 0) list.push({ key: "nests", text: texts.notWatched(unwatched.length, unwatched.join(", ")) });
  if (list.length === 0) list.push({ key: "all", calm: true, text: texts.seesAll });
  return list;
}

const reading = (v) => ({
  key: v.quantity, stale: v.value === null, big: v.value === null ? texts.noData : units.quantity(v.value, v.unit),
  small: v.age_s === null ? texts.never : v.fresh ? units.ago(v.age_s) : texts.last(units.ago(v.age_s)), name: texts.quantity[v.quantity],
});

export function updateOutside(box, state) {
  const items = state.outside.values.map(reading);
  if (state.outside.thi_c !== null) items.push({ key: "thi", big: units.temperature(state.outside.thi_c), small: texts.thiNote, name: texts.thi });
  if (items.length === 0) items.push({ key: "none", stale: true, big: texts.noData, small: texts.notConfigured, name: "" });
  place(box, texts.headings.outside(texts.season[state.season] ?? state.season), items);
}

// A site without a battery has no such section.
export function updateBattery(box, state) {
  box.hidden = state.battery.values.length === 0;
  if (!box.hidden) place(box, texts.headings.battery, state.battery.values.map(reading));
}

function place(box, heading, items) {
  if (!box.firstElementChild) box.append(el("h2"), el("ul", { class: "weather" }));
  setText(box.firstElementChild, heading);
  keyed(box.lastElementChild, items, (i) => i.key, () => el("li", {}, el("span", { class: "quiet" }), el("strong"), el("span", { class: "quiet" })), (li, i) => {
    setClass(li, i.stale ? "stale" : "");
    setText(li.children[0], i.name);
    setText(li.children[1], i.big);
    setText(li.children[2], i.small);
  });
}
