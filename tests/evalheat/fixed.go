package main

import (
	"time"

	"nestmon/thresholds/alarm"
)

// probed is what one poll showed, after the same screening that the decisions get.
type probed struct {
	at              time.Time
	cluster, air    float64
	hasCluster, has bool // has: of air
	kindled         bool // as far as the decisions beside know it
}

// fixedRule is a plain limit with a delay, run beside the decisions on the same readings. What it cannot see it holds.
type fixedRule struct {
	name  string
	delay time.Duration
	sees  func(p probed) bool
	past  func(p probed) bool
}

func below(limit float64) func(probed) bool { return func(p probed) bool { return p.cluster < limit } }

func chillSeen(p probed) bool { return p.hasCluster && p.kindled }

var fixedChill = []fixedRule{
	{"fixed < 32, 10 min", 10 * time.Minute, chillSeen, below(32)},
	{"fixed < 30 at once", 0, chillSeen, below(30)},
	{"fixed < 30, 10 min", 10 * time.Minute, chillSeen, below(30)},
	{"fixed < 25, 10 min", 10 * time.Minute, chillSeen, below(25)},
	{"fixed < 20, 30 min", 30 * time.Minute, chillSeen, below(20)},
	{"fixed < 15, 30 min", 30 * time.Minute, chillSeen, below(15)},
}

var fixedHeat = []fixedRule{
	{
		"fixed air > 35 or probe > 39.5, 10 min", 10 * time.Minute,
		func(p probed) bool { return p.has || p.hasCluster },
		func(p probed) bool { return p.has && p.air > 35 || p.hasCluster && p.cluster > 39.5 },
	},
	{
		"fixed air > 35, 10 min", 10 * time.Minute,
		func(p probed) bool { return p.has }, func(p probed) bool { return p.air > 35 },
	},
}

// fixedRun is a fixed rule at work.
type fixedRun struct {
	fixedRule
	since  time.Time
	on     bool
	stands []stand
}

func (f *fixedRun) step(p probed) {
	if !f.sees(p) {
		return
	}
	if !f.past(p) {
		if f.on {
			f.stands[len(f.stands)-1].to = p.at
		}
		f.since, f.on = time.Time{}, false
		return
	}
	if f.since.IsZero() {
		f.since = p.at
	}
	if !f.on && p.at.Sub(f.since) >= f.delay {
		f.on = true
		f.stands = append(f.stands, stand{span{p.at, p.at}, []rise{{p.at, alarm.Warning}}})
	}
}

func (f *fixedRun) close(end time.Time) []stand {
	if f.on {
		f.stands[len(f.stands)-1].to = end
	}
	return join(f.stands)
}

// Plain rules for kindling and visits, from the cluster probe alone.
const (
	warmNest     = 30.0 // °C
	warmFor      = 10 * time.Minute
	plainFrom    = 28 * day // after breeding
	dipFall      = 1.0      // K
	dipBack      = 10 * time.Minute
	dipRefactory = 3 * time.Hour
)

// plain finds kindling and visits the plain way.
type plain struct {
	bred    time.Time
	since   time.Time
	kindled time.Time
	visits  []time.Time
	past    []probed // of the last minutes
}

func (p *plain) step(now probed) {
	if !now.hasCluster {
		return
	}
	switch {
	case now.cluster <= warmNest:
		p.since = time.Time{}
	case p.since.IsZero():
		p.since = now.at
	case p.kindled.IsZero() && now.at.Sub(p.since) >= warmFor && now.at.Sub(p.bred) >= plainFrom:
		p.kindled = now.at
	}
	p.past = append(p.past, now)
	for now.at.Sub(p.past[0].at) > dipBack {
		p.past = p.past[1:]
	}
	if !now.kindled || p.past[0].cluster-now.cluster < dipFall {
		return
	}
	if n := len(p.visits); n == 0 || now.at.Sub(p.visits[n-1]) >= dipRefactory {
		p.visits = append(p.visits, now.at)
	}
}
