package main

import (
	"testing"
	"time"

	"nestmon/sensors/simulated"
	"nestmon/thresholds/alarm"
)

func TestKindling(t *testing.T) {
	empty := lived(noted(-1, alarm.Kindled))
	empty.born = time.Time{}
	records := []*record{
		lived(noted(2, alarm.Kindled), noted(30, alarm.Kindled)),
		lived(noted(-5, alarm.Kindled), noted(2, alarm.Kindled)), // the first call counts
		lived(noted(13, alarm.Kindled)),
		lived(),
		empty,
	}
	k := scoreKindling(records, func(r *record) time.Time { return r.judged[oneProbe].kindled() })
	if k.litters != 4 || k.found != 1 || k.premature != 1 || k.late != 1 || k.empties != 1 || k.called != 1 || k.delays[0] != 120 {
		t.Errorf("got %+v, want 4 litters: 1 found after 120 min, 1 premature, 1 late; 1 empty box, called", k)
	}
}

func TestVisits(t *testing.T) {
	happened := func(h float64, kind simulated.HappeningKind) simulated.Happening {
		return simulated.Happening{Time: at(h), Kind: kind}
	}
	r := lived()
	r.died = at(200)
	r.happened = []simulated.Happening{
		happened(10, simulated.Nursed), // too early to count
		happened(24, simulated.Nursed),
		happened(30, simulated.Visited),
		happened(48, simulated.Nursed),
		happened(60, simulated.LookedIn),
		happened(72, simulated.Nursed),
		happened(220, simulated.Nursed), // the kits are dead
	}
	detections := []time.Time{
		at(10),          // too early
		at(24.5),        // the nursing at 24
		at(24.6),        // once more: nothing
		at(30.1),        // the doe, without nursing
		at(48 - 20./60), // the nursing at 48, found before it by 20 min
		at(60.2),        // a person
		at(73),          // an hour after a nursing: nothing
		at(220),         // too late
	}
	var v visitScore
	v.add(r, detections)
	want := visitScore{nursings: 3, detections: 6, right: 2, byDoe: 1, byPerson: 1}
	if v != want {
		t.Errorf("got %+v, want %+v", v, want)
	}
}

func TestOverdue(t *testing.T) {
	r := lived()
	r.scenario, r.fault = "starve", hoursSpan(50, 122)
	quiet := lived()
	raisedAt := map[*record][]time.Time{
		r:     {at(20), at(104), at(110), at(130), at(150)}, // false, found after 54 h, twice more in its time, false
		quiet: {at(-3), at(100)},                            // before birth, false
	}
	o := scoreOverdue([]*record{r, quiet}, func(r *record) []time.Time { return raisedAt[r] })
	if o.starving != 1 || o.found != 1 || o.delays[0] != 54 || o.falseBy[0] != 2 || o.falseBy[1] != 1 {
		t.Errorf("got %+v, want 1 of 1 found after 54 h and 2 and 1 false", o)
	}
	// Excused are 50 to 122 and 12 h.
	if got := []float64{o.clean[0].Hours(), o.clean[1].Hours()}; got[0] != 240-84 || got[1] != 240 {
		t.Errorf("clean hours %v, want 156 and 240", got)
	}
}

func TestGaps(t *testing.T) {
	r := lived()
	r.end = at(100)
	got := gaps(r, []time.Time{at(-2), at(20), at(60)}, 30*time.Hour)
	if len(got) != 2 || !got[0].Equal(at(50)) || !got[1].Equal(at(90)) {
		t.Errorf("got %v, want gaps noticed at 50 h and 90 h", got)
	}
}

func TestAnswers(t *testing.T) {
	wet := func(events ...alarm.Event) *record {
		r := lived(events...)
		r.scenario, r.fault = "wet", hoursSpan(50, 100)
		return r
	}
	due := func(h float64) alarm.Event { return raised(h, alarm.VentilationDue, alarm.Notice) }
	records := []*record{wet(due(40), due(60)), wet(due(120)), wet(), lived(due(10)), lived()}
	f := answers(records, oneProbe, func(e alarm.Event) bool { return e.Name == alarm.VentilationDue },
		func(r *record) span { return r.fault }, func(r *record) bool { return r.scenario == "" })
	if f.litters != 3 || f.in != 1 || f.outside != 1 || f.delays[0] != 10 || f.sound != 2 || f.fires != 1 {
		t.Errorf("got %+v, want 1 of 3 inside after 10 h, 1 only outside, 1 of 2 sound ones", f)
	}
}

func TestFixedRule(t *testing.T) {
	run := fixedRun{fixedRule: fixedChill[3]}             // < 25 for 10 min
	cluster := func(from, to int, c float64, seen bool) { // min
		for m := from; m < to; m++ {
			run.step(probed{at: birth.Add(time.Duration(m) * time.Minute), cluster: c, hasCluster: seen, kindled: true})
		}
	}
	cluster(0, 10, 24, true)   // 9 min: too short
	cluster(10, 20, 26, true)  // warm again
	cluster(20, 35, 24, true)  // on from minute 30
	cluster(35, 50, 0, false)  // nothing seen: it holds
	cluster(50, 60, 26, true)  // off at 50
	cluster(60, 100, 24, true) // on again at 70, within half an hour: the same alarm, to the end
	got := run.close(birth.Add(100 * time.Minute))
	if len(got) != 1 || got[0].from != birth.Add(30*time.Minute) || got[0].to != birth.Add(100*time.Minute) {
		t.Errorf("got %v, want one alarm from minute 30 to 100", got)
	}
}

func TestPlain(t *testing.T) {
	p := plain{bred: birth.Add(-30 * day)}
	for m := range 240 {
		c := 36.0
		if m >= 100 && m < 110 {
			c = 34.5
		}
		p.step(probed{at: birth.Add(time.Duration(m) * time.Minute), cluster: c, hasCluster: true, kindled: m > 10})
	}
	if !p.kindled.Equal(birth.Add(10*time.Minute)) || len(p.visits) != 1 || !p.visits[0].Equal(birth.Add(100*time.Minute)) {
		t.Errorf("kindled %v, visits %v; want minute 10 and one visit at minute 100", p.kindled, p.visits)
	}
}

func TestSpans(t *testing.T) {
	day := hoursSpan(0, 24)
	rest := day.without([]span{hoursSpan(20, 30), hoursSpan(-5, 2), hoursSpan(5, 6), hoursSpan(5.5, 8)})
	want := []span{hoursSpan(2, 5), hoursSpan(8, 20)}
	if len(rest) != 2 || rest[0] != want[0] || rest[1] != want[1] {
		t.Errorf("rest is %v, want %v", rest, want)
	}
	if got := overlap(rest, []span{hoursSpan(4, 9), hoursSpan(30, 40)}); got != 2*time.Hour {
		t.Errorf("overlap %v, want 2h", got)
	}
}
