package quality

import (
	"fmt"
	"time"
)

// Where the figures come from.
const (
	vendor = "Inductive Automation, quick alarm system self-audit: a vendor's article; its low, medium and critical are our notice, warning and urgent"
	ours   = "ours, no source"
)

// What counts as what.
const (
	chatterCount  = 3                // of one alarm...
	chatterWithin = time.Minute      // vendor: three cycles a minute chatter. Our rules run once a minute, so it takes a fault of ours
	againWithin   = 10 * time.Minute // from its end to its next beginning; ours, no source
	fleetingUpTo  = 5 * time.Minute  // ours, no source: less than it takes to put on boots
	staleAfter    = 24 * time.Hour   // vendor
	floodOver     = 10               // alarms...
	floodWithin   = 10 * time.Minute // vendor
	handled       = 150              // alarms a day that can be dealt with; vendor
	tooMany       = 300              // alarms a day that need work; vendor
	leastLow      = 0.80             // share of low and medium severity; vendor
	mostUrgent    = 0.05             // share of critical ones; vendor
	oneCall       = 10 * time.Minute // calls closer together wake once; ours, no source
	nightFrom     = 22               // o'clock; ours, no source
	nightTo       = 6
	fewNestWeeks  = 3.0           // below it a rate says little; ours, no source
	blindDay      = 3 * time.Hour // without a reading make a day one that cannot be judged; ours, no source
	most          = 10            // of a list; ours, no source
)

// Figure is one number beside what it should be.
type Figure struct {
	What   string `json:"what"`
	Here   string `json:"here"`
	Aim    string `json:"aim"`
	Source string `json:"source"`
}

func (r *Report) figures() []Figure {
	t := &r.Total
	unseen, waited := "not known", "not known"
	if r.ActsKnown {
		unseen, waited = fmt.Sprint(t.Unseen), "none was"
		if t.Waited != nil {
			waited = fmt.Sprintf("%.1f min", *t.Waited/60)
		}
	}
	flooded := 0.0
	for _, f := range r.Floods {
		flooded += f.To.Sub(f.From).Minutes()
	}
	return []Figure{
		{"alarms a day, and on the worst", fmt.Sprintf("%.1f, %d", r.PerDay, r.WorstDay), fmt.Sprintf("far under %d; %d are too many", handled, tooMany), vendor},
		{"floods: over 10 in 10 min", fmt.Sprintf("%d, %.0f min", len(r.Floods), flooded), "none", vendor},
		{"chattering: 3 times in a minute", fmt.Sprint(t.Chattering), "none", vendor},
		{"stale: stood for over 24 h", fmt.Sprint(t.Stale), "none", vendor},
		{"raised as notice or warning", share(t.Raised.Notice+t.Raised.Warning, t.Raised.sum()), fmt.Sprintf("%.0f %% or more", 100*leastLow), vendor},
		{"raised as urgent", share(t.Raised.Urgent, t.Raised.sum()), fmt.Sprintf("under %.0f %%", 100*mostUrgent), vendor},
		{"again: within 10 min of its end", fmt.Sprint(t.Again), "none", ours},
		{"fleeting: over within 5 min", fmt.Sprint(t.Fleeting), "none", ours},
		{"never acknowledged", unseen, "none", ours},
		{"urgent until acknowledged, median", waited, "10 min", ours},
		{"calls between 22:00 and 06:00", fmt.Sprint(r.Woken), "none", ours},
	}
}

func share(n, of int) string {
	if of == 0 {
		return "-"
	}
	return fmt.Sprintf("%.0f %% of %d", 100*float64(n)/float64(of), of)
}
