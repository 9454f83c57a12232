// What is said of one nest in words: who lies there, what is watched of it, and what else was measured.
import { standing } from "./gauge.js";
import { texts } from "./texts.js";
import * as units from "./units.js";

// noKits: none can be there before the box is due, or after the litter ended. Where no litter is entered there may be some.
const noKits = (nest) => nest.stage === "bred" || (nest.stage === "empty" && nest.litter !== null);

// counts: a nest is watched for what can kill kits in it; those old enough to leave need no more warmth. Damp is only told.
const counts = (nest, j) => j.danger !== "damp" && !noKits(nest) && (j.danger === "heat" || nest.stage !== "out");

// fullyWatched: every danger that counts is judged without a reservation and no probe that could show it is silent. A nest about which
// nothing is said is not watched.
export const fullyWatched = (nest) =>
  nest.judged.length > 0 && nest.judged.every((j) => !counts(nest, j) || (j.judged && !j.why)) && nest.values.every((v) => v.fresh || v.quantity !== "temperature");

// unjudged are the dangers that count and are not judged, all for all of them.
export function unjudged(nest) {
  const counted = nest.judged.filter((j) => counts(nest, j));
  const gaps = counted.filter((j) => !j.judged);
  return { gaps: gaps.map((j) => texts.danger[j.danger] ?? j.danger), all: gaps.length === counted.length && (gaps.length > 0 || nest.judged.length === 0) };
}

// dialOf is what a nest's dial of a role, cluster or air, stands on: the temperature (undefined without a probe), the limits in force as
// [cold, hot, urgent], each null where there is none, and where the one stands to the others.
export function dialOf({ values, limits }, role) {
  const v = values.find((x) => x.role === role && x.quantity === "temperature");
  const bounds = role === "cluster" ? [limits.cluster_cold_c, limits.cluster_hot_c, null] : [limits.air_cold_c, limits.air_hot_c, limits.air_hot_urgent_c];
  const value = v?.value ?? null;
  return { v, value, bounds, where: !v ? "absent" : value === null ? "stale" : standing(value, bounds[0], bounds[1]) };
}

// urgencyOf is a nest's severity with what no alarm tells yet: past its urgent limit it is as urgent as any.
export const urgencyOf = (nest) => (nest.past_limit?.urgent ? "urgent" : nest.severity);

export function litterWords(nest) {
  const words = [nest.stage === "nursing" && nest.age_days !== null ? texts.day(nest.age_days) : texts.stage[nest.stage] ?? nest.stage];
  if (nest.stage === "out" && nest.age_days !== null) words.unshift(texts.day(nest.age_days));
  const { born, kits } = nest.litter ?? {};
  if (born && nest.age_days !== null) words.push(kits && kits < born ? texts.alive(kits, born) : texts.born(born));
  return words.join(" · ");
}


export function ageWords(v) {
  if (v.age_s === null) return texts.never;
  return v.fresh ? units.ago(v.age_s) : texts.last(units.ago(v.age_s));
}

// restOf lists every other value of the nest, each with its age, and the estimate of the core.
export function restOf(nest) {
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
export function judgedOf(nest) {
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
