// One nest on a card: who lies there, how warm it is against its limits, what stands against it with one tap to answer, what is not
// watched, and what is to do next.
import { sinceWords, updateTake } from "./alarm.js";
import { el, keyed, setClass, setText, shape } from "./dom.js";
import { makeGauge, updateGauge } from "./gauge.js";
import { ageWords, dialOf, fullyWatched, judgedOf, litterWords, unjudged, urgencyOf } from "./nest.js";
import { texts } from "./texts.js";
import * as units from "./units.js";
import { way } from "./ways.js";

const alarmsShown = 2; // of one nest; the others are a tap away

const cards = new WeakMap();

// makeCard returns the element of a nest; update it with updateCard. A card alone is on the nest's own page and leads nowhere.
export function makeCard(nest, { alone = false } = {}) {
  const card = {
    chip: el("span", { class: "chip" }), kind: el("span"), litter: el("strong"), alarms: el("ul", { class: "stands" }), more: el("a", { class: "go", href: way("alarms") }),
    cluster: makeDial("cluster"), air: makeDial("air"), blind: el("ul", { class: "judged" }), next: el("a", { class: "next", href: way("book") }), alone,
  };
  const name = `name-${alone ? "alone-" : ""}${nest.id}`;
  const title = alone ? nest.id : el("a", { href: way("nest", nest.id), text: nest.id });
  const node = el("article", { class: "card", id: `${alone ? "this" : "nest"}-${nest.id}`, "aria-labelledby": name },
    el("div", { class: "head" }, el(alone ? "h2" : "h3", { id: name }, title), card.chip),
    el("p", { class: "litter" }, card.litter, card.kind),
    card.alarms, card.more, el("div", { class: "dials" }, card.cluster.node, card.air.node), card.blind, card.next);
  cards.set(node, card);
  return node;
}

// updateCard shows the nest with its alarms, the worst first.
export function updateCard(node, nest, alarms, state, old) {
  const card = cards.get(node);
  const now = Date.parse(state.time);
  setClass(node, `card is-${urgencyOf(nest)}`);
  updateChip(card.chip, nest, old);
  setText(card.litter, litterWords(nest));
  setText(card.kind, texts.kind[nest.kind] ?? nest.kind);
  keyed(card.alarms, alarms.slice(0, alarmsShown), (a) => a.event + (a.probe ?? ""), makeStand, (li, a) => updateStand(li, a, now));
  const rest = alarms.length - alarmsShown;
  card.more.hidden = rest <= 0;
  setText(card.more, rest > 0 ? texts.moreAlarms(rest) : "");
  updateDial(card.cluster, nest, "cluster");
  updateDial(card.air, nest, "air");
  keyed(card.blind, card.alone || old ? [] : judgedOf(nest).filter((j) => j.blind), (j) => j.key, () => el("li", { class: "blind" }, shape("blind"), el("span")), (li, j) => setText(li.lastElementChild, j.text));
  setText(card.next, nextWords(nest.next, now));
}

const goes = new Set(["check-nest", "probe-fault", "probe-silent"]); // of which a notice too says what to do

const firstSentence = (text) => text.match(/^[^]*?[.!?](?=\s|$)/)?.[0] ?? text;

function makeStand() {
  return el("li", {}, el("p", { class: "name" }), el("p", { class: "say" }), el("p", { class: "facts" }), el("div", { class: "buttons" }));
}

function updateStand(li, a, now) {
  const [name, say, facts, buttons] = li.children;
  setClass(li, `stand is-${a.severity}`);
  setText(name, texts.event[a.event] ?? a.event);
  setText(say, a.severity === "urgent" || a.severity === "warning" ? a.text : goes.has(a.event) ? firstSentence(a.text) : "");
  setText(facts, [...(a.value === null ? [] : [units.quantity(a.value, a.unit)]), sinceWords(a, now), texts.short[a.status] ?? a.status].join(" · "));
  updateTake(buttons, a);
}

// nextWords says what is to do and when, in the words of somebody who plans a day.
function nextWords(next, now) {
  if (!next) return texts.next.none;
  const from = Date.parse(next.from);
  const when = next.state === "overdue" ? texts.next.overdue(units.moment(Date.parse(next.late ?? next.from), now)) : from <= now ? texts.next.since(now - from < 12 * 3600e3 ? units.clock(from) : units.day(from, now)) : next.state === "today" ? texts.next.today(units.clock(from)) : units.dateAndClock(from);
  return texts.next.label(texts.event[next.event] ?? next.event, when);
}

function updateChip(chip, nest, old) {
  const quiet = nest.severity === "none";
  const past = !old && (quiet || nest.past_limit?.urgent) ? nest.past_limit : null;
  const name = past ? (past.urgent ? "urgent" : "notice") : quiet && (old || !fullyWatched(nest)) ? "blind" : nest.severity;
  const words = past ? texts.pastLimit[past.where] : name !== "blind" ? texts.severity[nest.severity] : old ? texts.unknown : unjudged(nest).all ? texts.unwatched : texts.partly;
  if (chip.dataset.name === name + words) return;
  chip.dataset.name = name + words;
  setClass(chip, `chip chip-${name}`);
  chip.replaceChildren(shape(name), el("span", { text: words }));
}

function makeDial(role) {
  const d = { number: el("span", { class: "number" }), unit: el("span", { class: "unit" }), mark: el("span", { class: "mark" }), age: el("span", { class: "age" }), gauge: makeGauge() };
  d.node = el("div", { class: "dial" }, el("p", { class: "what" }, el("strong", { text: texts.role[role] }), d.age), el("p", { class: "big" }, d.number, d.unit, d.mark), d.gauge.node);
  return d;
}

function updateDial(d, nest, role) {
  const { v, value, bounds, where } = dialOf(nest, role);
  setClass(d.node, `dial is-${where}`);
  setText(d.number, !v ? texts.noProbe : value === null ? texts.noData : units.temperatureNumber(value));
  setText(d.unit, value === null ? "" : units.unitSign());
  setText(d.mark, value === null ? "" : texts.mark[where]);
  setText(d.age, v ? ageWords(v) : "");
  d.gauge.node.hidden = !v;
  updateGauge(d.gauge, value, ...bounds);
}
