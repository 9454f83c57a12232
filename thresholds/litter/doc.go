// Package litter is the litter clock: which day a litter is in, its calendar, and what is due.
//
// Two clocks run: gestation, from the day the doe was bred, and the litter's, from the day she kindled; the first day of
// each is day 0. Days are whole days of the owner's local calendar, worked out by Day and nowhere else, so a day with 23
// or 25 hours is one day. Until kindling is entered the dates after it are provisional and raise nothing.
//
// Most of these dates are common practice without a study behind them; every one says so.
package litter
