// One nest: who it is, how warm it is against its limits, what stands against it, and what is not watched.
import { alarmID, sinceWords } from "./alarm.js";
import { el, keyed, setClass, setText, shape } from "./dom.js";
import { makeGauge, standing, updateGauge } from "./gauge.js";
import { Day } from "./graph.js";
import { texts } from "./texts.js";
import * as units from "./units.js";

const cards = new WeakMap();

export const cardOf = (node) => cards.get(node);

// makeCard returns the element of a nest; update it with updateCard.
export function makeCard(nest) {
  const card = {
    chip: el("span", { class: "chip" }), kind: el("p", { class: "kind" }), litter: el("p", { class: "litter" }),
    cluster: makeDial("cluster"), air: makeDial("air"), rest: el("ul", { class: "rest" }), alarms: el("ul", { class: "stands" }), judged: el("ul", { class: "judged" }), learned: el("ul", { class: "rest" }),
    day: new Day(),
  };
  const id = `day-${nest.id}`;
  card.day.node.id = id;
  card.day.node.hidden = true;
  card.open = el("button", { type: "button", class: "open", "aria-expanded": "false", "aria-controls": id, onclick: () => toggle(node) });
  const node = el("article", { class: "card", id: `nest-${nest.id}`, "aria-labelledby": `name-${nest.id}` },
    el("div", { class: "head" }, el("div", { class: "who" }, el("h3", { id: `name-${nest.id}`, text: nest.id }), card.kind, card.litter), card.chip),
    card.alarms, el("div", { class: "dials" }, card.cluster.node, card.air.node), card.rest, card.judged, card.learned, card.open, card.day.node);
  cards.set(node, card);
  return node;
}

// toggle opens or closes the nest's day.
export function toggle(node, open) {
  const card = cards.get(node);
  const want = open ?? card.day.node.hidden;
  card.day.node.hidden = !want;
  node.classList.toggle("wide", want);
  card.open.setAttribute("aria-expanded", String(want));
  nameButton(card);
  showLearned(card);
  if (want) card.day.show(card.nest, card.state);
}

// noKits: none can be there before the box is due, or after the litter ended. Where no litter is entered there may be some.
const noKits = (nest) => nest.stage === "bred" || (nest.stage === "empty" && nest.litter !== null);

// counts: a nest is watched for what can kill kits in it; those old enough to leave need no more warmth. Damp is only told.
const counts = (nest, j) => j.danger !== "damp" && !noKits(nest) && (j.danger === "heat" || nest.stage !== "out");

// fullyWatched: every danger that counts is judged without a reservation and no probe that could show it is silent. A nest about which
// nothing is said is not watched.
export const fullyWatched = (nest) =>
  nest.judged.length > 0 && nest.judged.every((j) => !counts(nest, j) || (j.judged && !j.why)) && nest.values.every((v) => v.fresh || v.quantity !== "temperature");

export function updateCard(node, nest, state, old) {
  const card = cards.get(node);
  card.nest = nest;
  card.state = state;
  const wide = card.day.node.hidden ? "" : " wide";
  const alarms = state.alarms.filter((a) => a.nest === nest.id && a.alarm);
  setClass(node, `card is-${nest.severity}${wide}`);
  updateChip(card.chip, nest, old);
  setText(card.kind, texts.kind[nest.kind] ?? nest.kind);
  setText(card.litter, litterWords(nest));
  updateDial(card.cluster, nest, "cluster");
  updateDial(card.air, nest, "air");
  keyed(card.rest, restOf(nest), (r) => r.key, () => el("li"), (li, r) => {
    setClass(li, r.stale ? "stale" : "");
    setText(li, r.text);
  });
  keyed(card.alarms, alarms.slice(0, 1), () => "worst", () => el("li", {}, el("a", {}, el("strong"), el("span", { class: "facts" }))), (li, a) => {
    const [name, facts] = li.firstElementChild.children;
    li.firstElementChild.setAttribute("href", `#${alarmID(a)}`);
    setText(name, texts.event[a.event] ?? a.event);
    setText(facts, [...(a.value === null ? [] : [units.quantity(a.value, a.unit)]), sinceWords(a, Date.parse(state.time)), texts.short[a.status] ?? a.status].join(" · "));
  });
  keyed(card.judged, judgedOf(nest), (j) => j.key, () => el("li"), (li, j) => {
    if (li.dataset.text === j.text) return;
    li.dataset.text = j.text;
    setClass(li, j.blind ? "blind" : "");
    li.replaceChildren(...(j.blind ? [shape("blind"), el("span", { text: j.text })] : [el("span", { text: j.text })]));
  });
  showLearned(card);
  nameButton(card);
  if (!card.day.node.hidden) card.day.refresh(nest, state);
}

// showLearned tells what is known of the nest itself, beside its day.
function showLearned(card) {
  keyed(card.learned, card.day.node.hidden ? [] : card.nest.learned?.text ?? [], (t) => t, () => el("li"), setText);
}

// nameButton names the nest too, for whoever hears the page: there is one such button per nest.
function nameButton(card) {
  setText(card.open, card.day.node.hidden ? texts.graph.show : texts.graph.hide);
  card.open.setAttribute("aria-label", `${card.open.textContent}: ${card.nest.id}`);
}

function updateChip(chip, nest, old) {
  const quiet = nest.severity === "none";
  const name = quiet && (old || !fullyWatched(nest)) ? "blind" : nest.severity;
  const words = name !== "blind" ? texts.severity[nest.severity] : old ? texts.unknown : texts.partly;
  if (chip.dataset.name === name + words) return;
  chip.dataset.name = name + words;
  setClass(chip, `chip chip-${name}`);
  chip.replaceChildren(shape(name), el("span", { text: words }));
}

function litterWords(nest) {
  const words = [nest.stage === "nursing" && nest.age_days !== null ? texts.day(nest.age_days) : texts.stage[nest.stage] ?? nest.stage];
  if (nest.stage === "out" && nest.age_days !== null) words.unshift(texts.day(nest.age_days));
  if (nest.litter?.born && nest.age_days !== null) words.push(texts.born(nest.litter.born));
  return words.join(" · ");
}

function makeDial(role) {
  const d = { number: el("span", { class: "number" }), unit: el("span", { class: "unit" }), mark: el("p", { class: "mark" }), age: el("p", { class: "age" }), gauge: makeGauge() };
  d.node = el("div", { class: "dial" }, el("h4", { text: texts.role[role] }), el("p", { class: "big" }, d.number, d.unit), d.mark, d.gauge.node, d.age);
  return d;
}

function updateDial(d, nest, role) {
  const v = nest.values.find((x) => x.role === role && x.quantity === "temperature");
  const limits = role === "cluster" ? [nest.limits.cluster_cold_c, nest.limits.cluster_hot_c, null] : [nest.limits.air_cold_c, nest.limits.air_hot_c, nest.limits.air_hot_urgent_c];
  const value = v?.value ?? null;
  const where = !v ? "absent" : value === null ? "stale" : standing(value, limits[0], limits[1]);
  setClass(d.node, `dial is-${where}`);
  setText(d.number, !v ? texts.noProbe : value === null ? texts.noData : units.temperatureNumber(value));
  setText(d.unit, value === null ? "" : units.unitSign());
  setText(d.mark, value === null ? "" : texts.mark[where]);
  setText(d.age, v ? ageWords(v) : "");
  d.gauge.node.hidden = !v;
  updateGauge(d.gauge, value, ...limits);
}

function ageWords(v) {
  if (v.age_s === null) return texts.never;
  return v.fresh ? units.ago(v.age_s) : texts.last(units.ago(v.age_s));
}

// restOf lists every other value of the nest, each with its age, and the estimate of the core.
function restOf(nest) {
  const list = [];
  for (const v of nest.values) {
    if (v.quantity === "temperature" && (v.role === "cluster" || v.role === "air")) continue;
    const name = v.quantity === "temperature" || v.role === "co2" ? texts.role[v.role] : `${texts.role[v.role]} ${texts.quantity[v.quantity]}`;
    const value = v.value === null ? texts.noData : units.quantity(v.value, v.unit);
    list.push({ key: `${v.role} ${v.quantity}`, stale: v.value === null, text: `${name} ${value} · ${ageWords(v)}` });
  }
  if (nest.core_c !== null) list.push({ key: "core", text: texts.core(units.temperature(nest.core_c)) });
  return list;
}

// judgedOf lists what is not judged or only in part, one line for each reason, then what is, and last what is no gap in the watch.
function judgedOf(nest) {
  const name = (j) => texts.danger[j.danger] ?? j.danger;
  const lines = new Map();
  for (const j of nest.judged.filter((x) => !x.judged || x.why)) {
    const why = j.why.replace(/^not judged: /, "");
    const blind = counts(nest, j);
    const key = `${j.judged} ${blind} ${why}`;
    const dangers = [...(lines.get(key)?.dangers ?? []), name(j)];
    lines.set(key, { key, blind, dangers, text: (j.judged ? texts.judgedPartly : texts.notJudged)(dangers.join(", "), why) });
  }
  const seen = nest.judged.filter((j) => j.judged && !j.why).map(name);
  const all = [...lines.values()];
  return [...all.filter((l) => l.blind), ...(seen.length > 0 ? [{ key: "seen", text: texts.judged(seen.join(", ")) }] : []), ...all.filter((l) => !l.blind)];
}
