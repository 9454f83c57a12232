// Package brood says what kits and doe need: limits by age, nest and season, each with its unit, its delay and where it
// comes from.
//
// Units: temperatures in °C, humidity in % RH, ages in whole local days since kindling (the day of kindling is day 0),
// masses in kg. Every temperature limit is a default and can be overridden by configuration.
//
// Three places have three sets of limits and are never mixed: the cluster (in the pile of kits), the nest air (above the
// cover) and the air at the doe. Published figures for "nest temperature" disagree because they measure different ones.
//
// No published limit depends on the kind of nest, so none here does except humidity. Nothing here is veterinary advice.
//
// How sure a number is, is part of its source: published, published secondary (another author's quotation, trade press,
// teaching text), judgement (ours, from the sources named), common practice (no source).
package brood
