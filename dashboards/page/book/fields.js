// The fields of a form: large enough for a glove, without a keyboard where there is anything to choose from. Each is {node, value(), wrong(text)};
// value is the text the book takes, empty where nothing is said.
import { el, setText } from "../dom.js";
import { texts } from "../texts.js";
import * as units from "../units.js";
import { choiceWords, dateOf, dayWords, hourOf } from "./words.js";

const said = texts.book;
const padTo = 12; // kits that have a key of their own: most litters have no more
const morning = 7; // h: what "this morning" means, and says. Ours, no source

let counter = 0;

// field wraps what is entered with its name and a place for what is wrong.
function field(name, words, optional, inner, value) {
  const wrong = el("p", { class: "wrong", id: `wrong-${++counter}`, role: "alert" });
  const node = el("fieldset", { "data-field": name, "aria-describedby": wrong.id }, el("legend", { text: optional ? said.optional(words) : words }), inner, wrong);
  return { name, node, value, wrong: (text) => setText(wrong, text) };
}

// radios are chips of which one can be chosen. options are {value, words}.
function radios(name, options, chosen, onChange = () => {}) {
  const group = `${name}-${++counter}`;
  const box = el("div", { class: "chips" });
  const add = ({ value, words, label }) => {
    const input = el("input", { type: "radio", name: group, value, checked: value === chosen, onchange: () => onChange(value) });
    box.append(el("label", {}, input, el("span", { text: words, "aria-label": label })));
  };
  options.forEach(add);
  return { box, value: () => box.querySelector("input:checked")?.value ?? null, add, choose: (value) => [...box.querySelectorAll("input")].forEach((i) => (i.checked = i.value === value)) };
}

// unsaid is the chip of a field that may be left out.
const unsaid = (optional) => (optional ? [{ value: "", words: said.unsaid }] : []);

export function choiceField(name, words, choices, value, optional) {
  const r = radios(name, [...unsaid(optional), ...choices.map((c) => ({ value: c, words: choiceWords(name, c) }))], value || (optional ? "" : null));
  return field(name, words, optional, r.box, () => r.value() ?? "");
}

// namedField chooses among things with names of their own, such as litters.
export function namedField(name, words, options, value, optional) {
  const r = radios(name, [...unsaid(optional), ...options], value || (optional ? "" : options.length === 1 ? options[0].value : null));
  return field(name, words, optional, r.box, () => r.value() ?? "");
}

// pad is the numbers that have a key of their own, and more: where the others are written, null where there are none.
function pad(words, low, high) {
  const top = Math.min(high, padTo);
  const keys = Array.from({ length: Math.max(top - low + 1, 0) }, (_, i) => String(low + i));
  const number = el("input", { type: "number", inputmode: "numeric", min: low, max: high, value: String(top + 1), "aria-label": words });
  const step = (by) => (number.value = String(Math.min(high, Math.max(low, (Number(number.value) || 0) + by))));
  const more = el("div", { class: "stepper", hidden: true },
    el("button", { type: "button", text: "−", "aria-label": said.less, onclick: () => step(-1) }), number, el("button", { type: "button", text: "+", "aria-label": said.more, onclick: () => step(1) }));
  return { keys, top, beyond: high > top, number, more };
}

// countField is a pad of numbers; what is beyond it is written.
export function countField(name, words, low, high, value, optional) {
  const { keys, top, beyond, number, more } = pad(words, low, high);
  const options = [...unsaid(optional), ...keys.map((k) => ({ value: k, words: k })), ...(beyond ? [{ value: "more", words: said.moreThan(top) }] : [])];
  const r = radios(name, options, value && !keys.includes(value) ? "more" : value || (optional ? "" : null), (v) => (more.hidden = v !== "more"));
  r.box.classList.add("pad");
  if (value && !keys.includes(value)) {
    more.hidden = false;
    number.value = value;
  }
  return field(name, words, optional, el("div", {}, r.box, more), () => (r.value() === "more" ? number.value : r.value() ?? ""));
}

const still = 400; // ms in which a form that has just opened saves nothing: a glove bounces, and the keys lie where the button was. Ours, no source

// savingField is a pad of which each number saves the form with one tap. None of its keys is the form's own, which Enter would press from
// another field.
export function savingField(name, words, low, high, value) {
  const { keys, top, beyond, number, more } = pad(words, low, high);
  let chosen = value ?? "";
  const saver = (text, what, strong) => el("button", { type: "button", "data-saves": true, disabled: true, text, class: strong && "take", onclick: (e) => {
    chosen = what();
    e.target.closest("form").requestSubmit();
  } });
  const box = el("div", { class: "pad saving" }, ...keys.map((k) => saver(k, () => k, k === value)));
  if (beyond) {
    box.append(el("button", { type: "button", text: said.moreThan(top), onclick: () => ((more.hidden = false), number.focus()) }));
    more.append(saver(said.save, () => number.value, true));
  }
  const node = el("div", {}, box, more);
  setTimeout(() => node.querySelectorAll("[data-saves]").forEach((b) => (b.disabled = false)), still);
  if (value && !keys.includes(value)) {
    more.hidden = false;
    number.value = value;
  }
  return field(name, words, false, node, () => chosen);
}

// wordField has what was written before as chips, and a line for anything else.
export function wordField(name, words, names, longest, value, optional) {
  const input = el(longest > 100 ? "textarea" : "input", { maxlength: longest, autocomplete: "off", "aria-label": words, rows: longest > 100 ? 2 : undefined });
  if (names.length === 0) {
    input.value = value;
    return field(name, words, optional, input, () => input.value.trim().replaceAll(/\s+/g, " "));
  }
  const known = value === "" || names.includes(value);
  input.hidden = known;
  if (!known) input.value = value;
  const r = radios(name, [...unsaid(optional), ...names.map((n) => ({ value: `=${n}`, words: n })), { value: "other", words: said.other }], known ? (value ? `=${value}` : optional ? "" : null) : "other", (v) => {
    input.hidden = v !== "other";
    if (v === "other") input.focus();
  });
  return field(name, words, optional, el("div", {}, r.box, input), () => (r.value() === "other" ? input.value.trim().replaceAll(/\s+/g, " ") : r.value()?.slice(1) ?? ""));
}

// measures have the units a person may have a scale or a ruler for, with the step of one tap.
const measures = { weight: [["g", 10], ["kg", 0.1], ["oz", 0.5], ["lb", 0.1]], length: [["cm", 1], ["in", 0.5]] };
const unitIn = (takes) => `nestmon.${takes}`;

export function measureField(name, words, takes, value, optional) {
  const list = measures[takes];
  const first = list[0][0];
  const [, digits = "", given = ""] = /^([\d.]*)([a-z]*)$/.exec(value) ?? [];
  let unit = value ? given || first : remembered(takes) ?? (units.display() === "fahrenheit" ? (takes === "weight" ? "oz" : "in") : first);
  const number = el("input", { type: "number", inputmode: "decimal", min: 0, step: "any", value: digits, "aria-label": words });
  const step = (by) => {
    const one = list.find(([u]) => u === unit)[1];
    number.value = String(Math.max(0, Math.round(((Number(number.value) || 0) + by * one) * 100) / 100));
  };
  const r = radios(`${name}-unit`, list.map(([u]) => ({ value: u, words: u, label: said.unit[u] })), unit, (u) => remember(takes, (unit = u)));
  r.box.setAttribute("role", "group");
  const inner = el("div", { class: "measure" }, el("div", { class: "stepper" },
    el("button", { type: "button", text: "−", "aria-label": said.less, onclick: () => step(-1) }), number, el("button", { type: "button", text: "+", "aria-label": said.more, onclick: () => step(1) })), r.box);
  return field(name, words, optional, inner, () => (number.value === "" ? "" : unit === first ? number.value : number.value + unit));
}

function remembered(takes) {
  try {
    const u = localStorage.getItem(unitIn(takes));
    return measures[takes].some(([name]) => name === u) ? u : null;
  } catch {
    return null;
  }
}

function remember(takes, unit) {
  try {
    localStorage.setItem(unitIn(takes), unit);
  } catch {
    // asked again next time
  }
}

// timeField says when. Empty is the moment of pressing. known is a time that is offered too: {value, words}.
export function timeField(words, now, known = null) {
  const today = dateOf(now);
  const yesterday = dateOf(now - 24 * 3600e3);
  const date = el("input", { type: "date", value: today, max: today, "aria-label": said.when.date });
  const clock = el("input", { type: "time", "aria-label": said.when.clock });
  const other = el("div", { class: "other", hidden: true }, date, clock, el("p", { class: "quiet", text: said.when.dayAlone }));
  const early = `${today}T${String(morning).padStart(2, "0")}:00`;
  const options = [
    ...(known ? [{ value: "known", words: known.words }] : []),
    { value: "", words: said.when.now },
    ...(hourOf(now) > morning ? [{ value: early, words: said.when.morning(morning) }] : []),
    { value: yesterday, words: said.when.yesterday(dayWords(now - 24 * 3600e3)) },
    { value: "other", words: said.when.other },
  ];
  const r = radios("on", options, known ? "known" : "", (v) => (other.hidden = v !== "other"));
  const f = field("on", words, false, el("div", {}, r.box, other), () => {
    const v = r.value();
    if (v === "known") return known.value;
    return v === "other" ? (clock.value ? `${date.value}T${clock.value}` : date.value) : v;
  });
  return f;
}
