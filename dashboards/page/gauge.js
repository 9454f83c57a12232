// A value against the brood's limits: a band with the cold part hatched one way, the hot part the other way, and a pointer.
import { el, setClass, setText } from "./dom.js";
import { texts } from "./texts.js";
import * as units from "./units.js";

// How far the band reaches beyond its limits, on the open side of a lone limit, and beyond the value, in °C. For the eye only; ours, no source.
const beyond = 4;
const alone = 14;
const edge = 1;

// domain is what the band spans: the limits with room on both sides, and always the value.
function domain(value, cold, hot) {
  let low = cold === null ? hot - alone : cold - beyond;
  let high = hot === null ? cold + alone : hot + beyond;
  if (value !== null) [low, high] = [Math.min(low, value - edge), Math.max(high, value + edge)];
  return [low, high];
}

// standing compares a value with the limits: above, below, inside both, on the good side of the only one, or unjudged where there are none.
export function standing(value, cold, hot) {
  if (cold === null && hot === null) return "unjudged";
  if (hot !== null && value > hot) return "above";
  if (cold !== null && value < cold) return "below";
  if (cold === null) return "underHot";
  return hot === null ? "overCold" : "inside";
}

export function makeGauge() {
  const parts = {
    cold: el("div", { class: "zone cold" }), hot: el("div", { class: "zone hot" }), urgent: el("div", { class: "tick urgent" }), pointer: el("div", { class: "pointer" }),
    coldText: el("span"), hotText: el("span"),
  };
  const band = el("div", { class: "band", "aria-hidden": "true" }, parts.cold, parts.hot, parts.urgent, parts.pointer);
  const node = el("div", { class: "gauge" }, band, el("div", { class: "limits" }, parts.coldText, parts.hotText));
  return { node, band, ...parts };
}

export function updateGauge(g, value, cold, hot, urgent) {
  const none = cold === null && hot === null;
  setClass(g.band, none ? "band none" : "band");
  setText(g.coldText, cold === null ? texts.limit.noCold : texts.limit.cold(units.limitNumber(cold)));
  setText(g.hotText, hot === null ? texts.limit.noHot : texts.limit.hot(units.limitNumber(hot)));
  g.pointer.hidden = none || value === null;
  g.cold.hidden = cold === null;
  g.hot.hidden = hot === null;
  g.urgent.hidden = none || urgent === null || urgent === undefined;
  if (none) return;
  const [low, high] = domain(value, cold, hot);
  const at = (v) => `${(Math.min(1, Math.max(0, (v - low) / (high - low))) * 100).toFixed(1)}%`;
  if (cold !== null) g.cold.style.width = at(cold);
  if (hot !== null) g.hot.style.left = at(hot);
  if (!g.urgent.hidden) g.urgent.style.left = at(urgent);
  if (value !== null) g.pointer.style.left = at(value);
}
