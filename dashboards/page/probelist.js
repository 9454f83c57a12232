// Every probe with what is known of it, by nest, those that are in trouble first; and the lines they hang on.
import { el, keyed, setClass, setText, shape } from "./dom.js";
import { texts } from "./texts.js";
import * as units from "./units.js";

const missesMany = 0.05; // share of readings, from which a probe is looked at; ours, no source

// trouble is how much a probe is worth a look: 3 it gives no data, 2 it is in doubt, 1 it misses many, 0 it is well.
function trouble(p) {
  if (!p.fresh) return 3;
  if (p.doubts.length > 0) return 2;
  return p.error_ratio !== null && p.error_ratio > missesMany ? 1 : 0;
}

const unknown = 4;
const marks = ["none", "notice", "warning", "blind", "blind"];
const words = () => [texts.probes.well, texts.probes.misses, texts.probes.doubtful, texts.probes.silent, texts.unknown];

// placeWords says where a probe hangs.
export function placeWords(at) {
  if (!at || (!at.nest && !at.role)) return texts.probes.noNest;
  const role = texts.role[at.role] ?? at.role;
  return at.nest ? `${at.nest}, ${role}` : role;
}

export class Probes {
  #places = new Map();
  #state = null;
  #old = false;
  #parts;

  constructor() {
    const find = el("input", { type: "search", id: "find-probe", autocomplete: "off", spellcheck: "false", oninput: () => this.update(this.#state, this.#old) });
    this.#parts = { find, count: el("p", { class: "quiet", role: "status" }), groups: el("div", { class: "groups" }) };
    this.node = el("section", { id: "all-probes" }, el("h2", { text: texts.probes.heading }), el("label", { for: "find-probe", text: texts.probes.find }), find, this.#parts.count, this.#parts.groups);
  }

  know(places, state) {
    this.#places = new Map(places.map((p) => [p.probe, p]));
    this.update(state, this.#old);
  }

  // placeOf is where a probe hangs; until the daemon has said it, as far as the state tells.
  #placeOf(id) {
    const known = this.#places.get(id);
    if (known) return known;
    for (const n of this.#state.nests) {
      const v = n.values.find((x) => x.probe === id);
      if (v) return { probe: id, nest: n.id, role: v.role };
    }
    const role = ["outside", "battery"].find((r) => this.#state[r].values.some((v) => v.probe === id));
    return { probe: id, nest: null, role: role ?? null };
  }

  // update shows what is known; of what is old nothing is.
  update(state, old) {
    [this.#state, this.#old] = [state, old];
    if (!state) return;
    const sought = this.#parts.find.value.trim().toLowerCase();
    const all = state.probes.map((p) => ({ ...p, at: this.#placeOf(p.probe), trouble: old ? unknown : trouble(p) }));
    const shown = all.filter((p) => !sought || [p.probe, p.at.nest, p.at.bus, p.at.identity, p.at.chip].some((t) => t?.toLowerCase().includes(sought)));
    setText(this.#parts.count, shown.length === 0 && sought ? texts.probes.none : old ? texts.unknownSince(units.clock(Date.parse(state.time))) : texts.probes.count(shown.length, shown.filter((p) => p.trouble > 0).length));
    const by = Map.groupBy(shown, (p) => p.at.nest ?? "");
    const order = [...state.nests.map((n) => n.id), ""].filter((id) => by.has(id));
    const groups = order.map((id) => ({ id, probes: by.get(id).sort((a, b) => b.trouble - a.trouble), worst: Math.max(...by.get(id).map((p) => p.trouble)) })).sort((a, b) => b.worst - a.worst);
    keyed(this.#parts.groups, groups, (g) => g.id || "-", (g) => el("section", { class: "group" }, el("h3", { text: g.id || texts.probes.site }), el("ul", { class: "probes" })), (node, g) => {
      setClass(node, `group${g.worst > 0 ? " troubled" : ""}`);
      keyed(node.lastElementChild, g.probes, (p) => p.probe, makeProbe, (li, p) => updateProbe(li, p, state));
    });
  }
}

function makeProbe(p) {
  const row = (name) => [el("dt", { text: name }), el("dd")];
  const rows = ["place", "bus", "chip", "number", "values", "doubts", "errors", "faults", "last", "offset"];
  const li = el("li", { id: `probe-${p.probe}` }, el("details", { ontoggle: () => updateProbe(li, ...shown.get(li)) },
    el("summary", {}, el("span", { class: "mark" }), el("span", { class: "who" }, el("strong", { text: p.probe }), el("span", { class: "quiet" })), el("span", { class: "now" })),
    el("dl", {}, ...rows.flatMap((name) => row(texts.probes[name])))));
  return li;
}

const shown = new WeakMap(); // of each row, what it was drawn of

function updateProbe(li, p, state) {
  shown.set(li, [p, state]);
  const now = Date.parse(state.time);
  const age = (t) => units.ago(Math.max(0, (now - Date.parse(t)) / 1e3));
  const [summary, dl] = li.firstElementChild.children;
  const [mark, who, value] = summary.children;
  setClass(li, `is-${marks[p.trouble]}`);
  if (mark.dataset.text !== String(p.trouble)) {
    mark.dataset.text = String(p.trouble);
    mark.replaceChildren(shape(marks[p.trouble]), el("span", { class: "said", text: words()[p.trouble] }));
  }
  setText(who.lastElementChild, p.at.role ? texts.role[p.at.role] ?? p.at.role : texts.probes.noNest);
  const main = p.values.find((v) => v.value !== null && v.quantity === "temperature") ?? p.values.find((v) => v.value !== null);
  setText(value, p.fresh && main ? `${units.quantity(main.value, main.unit)} · ${age(main.time)}` : p.last_good ? texts.last(age(p.last_good)) : texts.never);
  if (!li.firstElementChild.open) return;
  const faults = Object.entries(p.rejected).map(([f, n]) => texts.probes.times(texts.fault[f] ?? f, n));
  const offsets = [
    p.offset && texts.probes.corrected([p.offset.temperature_c && difference(p.offset.temperature_c), p.offset.humidity_pct && `${p.offset.humidity_pct} %`].filter(Boolean).join(", ") || difference(0), texts.probes.methods[p.offset.method] ?? p.offset.method, p.offset.date),
    p.at.waiting && texts.probes.waiting(difference(p.at.waiting.temperature_c)),
  ].filter(Boolean);
  const said = [
    placeWords(p.at), p.at.bus, p.at.chip, p.at.identity,
    p.values.map((v) => `${texts.quantity[v.quantity]} ${v.value === null ? (v.fault ? texts.fault[v.fault] ?? v.fault : texts.noData) : units.quantity(v.value, v.unit)}, ${age(v.time)}`).join("; ") || texts.never,
    p.doubts.map((d) => `${texts.doubt[d] ?? d}. ${texts.remedy[d] ?? ""}`).join(" "),
    p.error_ratio === null ? null : texts.probes.ratio(Math.round(1000 * p.error_ratio) / 10),
    faults.join("; ") || texts.probes.noFaults,
    p.last_fault && p.fault_at ? `${texts.fault[p.last_fault] ?? p.last_fault}, ${age(p.fault_at)}` : null,
    offsets.join("; ") || texts.probes.never,
  ];
  said.forEach((text, i) => {
    const [dt, dd] = [dl.children[2 * i], dl.children[2 * i + 1]];
    dt.hidden = dd.hidden = !text;
    setText(dd, text ?? "");
  });
}

// difference writes a difference of temperatures given in K.
export function difference(k, digits = 2) {
  const v = units.display() === "fahrenheit" ? k * 1.8 : k;
  return `${v > 0 ? "+" : v < 0 ? "−" : ""}${Math.abs(v).toLocaleString(texts.locale, { minimumFractionDigits: digits, maximumFractionDigits: digits })}\u00a0${units.unitSign()}`;
}

export class Buses {
  constructor() {
    this.list = el("ul", { class: "list" });
    this.node = el("section", { id: "buses", hidden: true }, el("h2", { text: texts.buses.heading }), this.list);
  }

  update(state, old) {
    this.node.hidden = state.buses.length === 0;
    keyed(this.list, state.buses, (b) => b.bus, () => el("li", {}, el("span", { class: "mark" }), el("div", {}, el("strong"), el("span", { class: "quiet" }))), (li, b) => {
      const bad = old || !b.up || b.hung_s > 0;
      const [name, facts] = li.lastElementChild.children;
      setClass(li, bad ? "is-blind" : "is-none");
      if (li.dataset.bad !== String(bad)) {
        li.dataset.bad = String(bad);
        li.firstElementChild.replaceChildren(shape(bad ? "blind" : "none"));
      }
      setText(name, b.bus);
      const how = old ? texts.unknown : b.hung_s > 0 ? texts.busHung(b.bus, units.span(b.hung_s)) : b.up ? texts.buses.up : b.bus === "radio" ? texts.radioDown : texts.busDown(b.bus);
      setText(facts, [how, !old && b.took_s >= 0.5 ? texts.buses.took(units.span(b.took_s)) : "", b.restarts > 0 ? texts.buses.restarts(b.restarts) : ""].filter(Boolean).join(" · "));
    });
  }
}
