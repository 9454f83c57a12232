package review

import (
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
)

// Input is what is known of a litter and of its time.
type Input struct {
	Record  *book.Record
	Entries []book.Entry // those in force about its nests, the record's own among them or not; what was not in its time is left out
	Hours   []Hour       // of its nests while it lay there, in order; an hour without any value is left out
	Outside []Sample     // of the air outside, in order; likewise

	Events    []alarm.Event // in order; those of other nests are left out
	Acts      []alarm.Act   // in order
	ActsSince time.Time     // from when on acts are known, zero where they never are

	Probes   map[string]Probes // by nest, as the configuration has them
	Tables   brood.Tables
	Days     litter.Days // of the litter clock; the shipped ones where they are zero
	Location *time.Location
	Now      time.Time
	Scale    Scale // of the conclusions
}

// Probes says what is measured in a nest.
type Probes struct{ Cluster, Air bool }

// Value is a temperature over a span, in °C.
type Value struct {
	N              int // readings; 0 for no value
	Min, Mean, Max float64
}

// Known reports whether there was any reading.
func (v Value) Known() bool { return v.N > 0 }

// Join makes one value of two spans.
func (v Value) Join(o Value) Value {
	switch {
	case !o.Known():
		return v
	case !v.Known():
		return o
	}
	n := v.N + o.N
	return Value{N: n, Min: min(v.Min, o.Min), Max: max(v.Max, o.Max), Mean: (v.Mean*float64(v.N) + o.Mean*float64(o.N)) / float64(n)}
}

// Sample is a value of one hour.
type Sample struct {
	At time.Time // its beginning, a whole hour
	Value
}

// Hour is one hour in one nest.
type Hour struct {
	Nest    string
	At      time.Time // its beginning, a whole hour
	Cluster Value     // of the warmer of two probes: the pile lies there
	Air     Value
}

// hour is the span of a row.
const hour = time.Hour
