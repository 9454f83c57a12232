// Package review looks back on one litter: what the litter book says of it beside what the probes measured, on one page.
//
// Of works out a Review from an Input: the litter's record, hourly values, and what was noted, raised and done while its kits lay in a
// nest. Nothing here judges anew: hours are held against the limits of the kits' age in thresholds/brood, and counted.
//
// # What counts
//
// An hour counts where kits lay in the nest for all of it. It is cold where the hour's mean was under the limit, and cold in part where only
// its lowest value was, as in every nursing; hot likewise. It is the probe that is counted: it reads lower than the kits where it lies
// beside them, so a cold hour of the probe is not yet one of the kits. Where the book gives a day and no hour, as of a birth, that day is not judged.
//
// An hour without values is counted as such and never as a good one, and so is one with few. Days on which no probe was near the kits, as
// after they were collected from a tote, are told as not measured.
//
// # Conclusions
//
// The rules of conclusions.go each have a condition and a sentence. They set two facts beside each other and claim no cause; they say what
// went well and what nobody measured; they give no veterinary advice.
package review
