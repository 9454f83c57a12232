// What a draft of limits would have raised in the last month: how far the look back is, and what came of it, counted, drawn and listed.
import { act } from "../act.js";
import { el, setText } from "../dom.js";
import { texts } from "../texts.js";
import * as units from "../units.js";

const said = texts.settings.preview;
const every = 700; // ms between looks at the progress
const svgNS = "http://www.w3.org/2000/svg";

export function makePreview() {
  const node = el("div", { id: "preview", hidden: true });
  const status = el("p", { role: "status" });
  const bar = el("progress", { max: "1", "aria-label": said.progress });
  const stop = el("button", { type: "button", text: said.stop, onclick: end });
  const running = el("div", { class: "running", hidden: true }, bar, stop);
  const result = el("div", { class: "result" });
  node.append(el("h3", { text: said.heading }), status, running, result);

  let timer = 0;
  let open = false;
  let failed = "";
  let view = null;
  let wished = [];
  let settings = null;
  let drawn = "";

  const same = (a, b) => JSON.stringify(order(a)) === JSON.stringify(order(b));
  const order = (all) => (all ?? []).map(({ place, key, from, to, limit_c }) => [place, key, from, to, limit_c]).sort();

  async function look() {
    clearTimeout(timer);
    try {
      const answer = await fetch("api/settings/preview", { signal: AbortSignal.timeout(10e3) });
      const got = await answer.json();
      failed = answer.ok ? "" : said.failed(got.error);
      if (answer.ok) view = got;
    } catch {
      // the page itself says that nestmon is out of reach
    }
    draw();
    if (open && view?.state === "running") timer = setTimeout(look, every);
  }

  async function end() {
    await act("limits", "stop", "api/settings/preview/stop", {}, said.stop, { saving: said.stopping, saved: said.stopped });
    look();
  }

  function draw() {
    const mine = view !== null && view.state !== "none" && wished.length > 0 && view.revision === settings?.revision && same(view.limits, wished);
    node.hidden = !mine && view?.state !== "running";
    if (node.hidden) return;
    running.hidden = view.state !== "running";
    bar.value = view.done;
    const words = { running: said.running(Math.floor(view.done * 100)), stopped: said.stopped, failed: said.failed(view.error), done: "" };
    setText(status, failed || (view.state === "running" && !mine ? said.another : words[view.state] ?? ""));
    const key = `${view.state} ${view.result?.from} ${units.display()} ${mine}`;
    if (key === drawn) return;
    drawn = key;
    result.replaceChildren(...(view.result && mine ? resultOf(view.result) : []));
  }

  return {
    node,
    follow() {
      open = true;
      return look();
    },
    leave() {
      open = false;
      clearTimeout(timer);
    },
    update(all, inForce) {
      wished = all;
      settings = inForce;
      draw();
    },
  };
}

const sum = (kinds, side, what) => kinds.reduce((n, k) => n + k[side][what], 0);
const hours = (h) => (h < 0.05 ? said.noTime : h < 2 ? texts.minute(Math.round(h * 60)) : texts.hour(Math.round(h)));

function resultOf(r) {
  const [come, go, moved] = r.counts;
  const head = el("p", { class: "verdict-words", text: come + go + moved === 0 ? said.nothing : said.sum(sum(r.kinds, "now", "alarms"), sum(r.kinds, "then", "alarms"), sum(r.kinds, "now", "urgent"), sum(r.kinds, "then", "urgent")) });
  return [head, ...(come + go + moved === 0 ? [] : [strips(r), table(r)]),
    list(said.come(come), r.come.map((s) => spell(s)), come, r.most), list(said.go(go), r.go.map((s) => spell(s)), go, r.most),
    list(said.differ(moved), r.differ.map((p) => el("li", {}, el("strong", { text: name(p.then) }), el("p", { text: `${said.now}: ${facts(p.now)}` }), el("p", { text: `${said.then}: ${facts(p.then)}` }))), moved, r.most),
    seen(r), el("p", { class: "quiet", text: said.basis(r.polls.toLocaleString(texts.locale), units.span(r.took_s)) })].filter(Boolean);
}

const name = (s) => `${s.nest || texts.headings.site}: ${texts.event[s.event] ?? s.event}`;

function facts(s) {
  const to = s.to === null ? said.stillOn : units.dateAndClock(Date.parse(s.to));
  const value = s.value === null ? "" : s.limit === null ? units.quantity(s.value, s.unit) : texts.against(units.quantity(s.value, s.unit), units.quantity(s.limit, s.unit));
  return [texts.severity[s.severity], value, said.spell(units.dateAndClock(Date.parse(s.from)), to)].filter(Boolean).join(" · ");
}

const spell = (s) => el("li", { class: `is-${s.severity}` }, el("strong", { text: name(s) }), el("p", { text: facts(s) }));

function list(heading, items, all, most) {
  if (all === 0) return null;
  return el("details", {}, el("summary", { text: heading }), all > most ? el("p", { class: "quiet", text: said.newest(most) }) : null, el("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": heading }, el("ul", { class: "past" }, ...items)));
}

// strips draws what changes: a lane for what would go, one for what would come, for each nest that has any.
function strips(r) {
  const from = Date.parse(r.from);
  const span = Date.parse(r.to) - from;
  const nests = new Map();
  const put = (s, lane) => {
    if (!nests.has(s.nest)) nests.set(s.nest, [[], []]);
    nests.get(s.nest)[lane].push(s);
  };
  for (const s of r.go) put(s, 0);
  for (const s of r.come) put(s, 1);
  for (const p of r.differ) {
    put(p.now, 0);
    put(p.then, 1);
  }
  const wide = 720;
  const x = (t) => Math.max(0, Math.min(wide, ((Date.parse(t) - from) / span) * wide));
  const shape = (tag, attributes) => {
    const n = document.createElementNS(svgNS, tag);
    for (const [k, v] of Object.entries(attributes)) n.setAttribute(k, v);
    return n;
  };
  const rows = [...nests].map(([nest, lanes]) => {
    const svg = shape("svg", { viewBox: `0 0 ${wide} 40`, preserveAspectRatio: "none", class: "strip", "aria-hidden": "true" });
    for (let day = 5; day < 30; day += 5) svg.append(shape("line", { x1: (day / 30) * wide, x2: (day / 30) * wide, y1: 0, y2: 40, class: "grid" }));
    svg.append(shape("line", { x1: 0, x2: wide, y1: 20, y2: 20, class: "axis" }));
    lanes.forEach((all, lane) => {
      for (const s of all) {
        const a = x(s.from);
        const b = s.to === null ? wide : x(s.to);
        svg.append(shape("rect", { x: Math.min(a, wide - 3), y: lane === 0 ? 3 : 23, width: Math.max(3, b - a), height: 14, class: `lane-${lane} is-${s.severity}` }));
      }
    });
    return el("li", {}, el("strong", { text: nest || texts.headings.site }), svg);
  });
  return el("div", { class: "strips" }, el("p", { class: "quiet", text: said.strips }), el("ul", {}, ...rows), el("p", { class: "ends quiet" }, el("span", { text: units.dateAndClock(from) }), el("span", { text: units.dateAndClock(Date.parse(r.to)) })));
}

function table(r) {
  const changed = r.kinds.filter((k) => JSON.stringify(k.now) !== JSON.stringify(k.then));
  if (changed.length === 0) return null;
  const measure = (m) => said.measure(m.alarms, hours(m.hours));
  return el("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": said.table }, el("table", { class: "compared" }, el("caption", { text: said.table }),
    el("thead", {}, el("tr", {}, ...[said.alarm, said.now, said.then].map((t) => el("th", { scope: "col", text: t })))),
    el("tbody", {}, ...changed.map((k) => el("tr", {}, el("th", { scope: "row", text: name(k) }), el("td", { text: measure(k.now) }), el("td", { text: measure(k.then) }))))));
}

function seen(r) {
  const total = (of) => r.nests.reduce((n, x) => n + of(x), 0);
  return el("details", {}, el("summary", { text: said.seen(total((x) => x.data_h), total((x) => x.judged_h.heat ?? 0), total((x) => x.hours)) }),
    el("ul", { class: "list" }, ...r.nests.map((n) => el("li", {}, el("strong", { text: n.nest }), el("p", { text: said.seenNest(n.data_h, n.hours, n.judged_h.heat ?? 0, n.judged_h.chill ?? 0, n.judged_h.cold ?? 0) })))));
}
