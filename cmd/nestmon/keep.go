package main

import (
	"fmt"
	"slices"
	"time"

	"nestmon/exporter"
	"nestmon/sensors"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
	"nestmon/thresholds/keep"
)

// A restart changes nothing. What screen and decisions remember is kept beside the archive every quarter of an hour and at the end.
// At the start it is loaded, and the archive's later readings, marks and changes of the litter book are taken after it:
//
//   - after seconds: the daemon goes on bit for bit, as after one poll that came late;
//   - after a crash or a power cut: the readings since the state was kept are judged again. The archive holds no fault and no oddness,
//     so what a silent or broken probe did in these minutes is looked for anew, but what was told stays told;
//   - after hours: the time off is a dropout of all probes that makes none of them silent. What was learned of a nest stays, delays
//     that ran do not run on, and what stood stands until its rule, which has its readings again, ends it;
//   - after more than warmUp, with a state that cannot be read, and after a change of the program or the configuration: the last day
//     is looked at again instead (relive).
//
// A clock that is behind the state, as that of a board without a battery is at its start, is a clock that was put back.

// stateEvery bounds what a power cut leaves to the archive's readings, and what the card has to bear: tests/bench prints the bytes.
// Ours, no source.
const stateEvery = 15 * time.Minute

func (j *judge) save() []byte { return j.rabbitry.Save(j.alongside()...) }

func (j *judge) load(state []byte) error { return j.rabbitry.Load(state, j.alongside()...) }

// alongside is what is kept with the rabbitry. Another version of the program may mean something else by the same fields.
func (j *judge) alongside() []any { return append(j.screen.State(), keep.Mark(version())) }

// keepState stores what is remembered, when it is time or at the end. That it could not be stored is worth a line and no more, and another when it can be again:
// a restart has the archive.
func (d *daemon) keepState(now time.Time, end bool) {
	if !end && now.Sub(d.kept).Abs() < stateEvery {
		return
	}
	d.kept = now
	state := d.judge.save()
	err := d.card.write(func() error { return d.archive.PutState(state) })
	switch {
	case err != nil && d.unkept.IsZero():
		d.unkept = now
		d.log.Warn("what the decisions remember was not kept, and is tried again; until it is, a restart looks at the last day again", "every", stateEvery, "err", err)
	case err == nil && !d.unkept.IsZero():
		d.log.Info("what the decisions remember is kept again", "since", d.unkept)
		d.unkept = time.Time{}
	}
}

// rejoin goes on where the state was kept. It reports false, and has changed nothing, where there is none that fits.
func (d *daemon) rejoin(now time.Time, standing []alarm.Standing) (bool, error) {
	err := d.loadState(now)
	if err != nil {
		d.log.Warn("what was remembered cannot be used; looking at the last day again", "err", err)
		return false, nil
	}
	r := d.judge.rabbitry
	seen := r.Seen()
	if seen.IsZero() {
		return false, nil
	}
	r.SetLitters(d.Book().Litters(seen), seen)
	marks := slices.DeleteFunc(d.Book().Marks(), func(m book.Mark) bool { return m.Entered.Before(seen.Truncate(time.Millisecond)) })
	slices.SortStableFunc(marks, func(a, b book.Mark) int { return a.Entered.Compare(b.Entered) })
	done := func(until time.Time) {
		for ; len(marks) > 0 && !marks[0].Entered.After(until); marks = marks[1:] {
			d.markAgain(marks[0])
		}
	}
	var batch []sensors.Reading
	err = d.archive.PollsBetween(seen, now.Add(1), func(p exporter.StoredPoll) error {
		if !p.Time.After(seen) {
			return nil // the archive keeps times less finely
		}
		done(p.Time)
		batch = append(batch[:0], p.Readings...)
		d.judge.again(p.Time, batch)
		return nil
	})
	if err != nil {
		return false, fmt.Errorf("reading the polls since: %w", err)
	}
	done(now)
	later := slices.DeleteFunc(d.Book().Entries(), func(e book.Entry) bool { return e.Entered.Before(seen.Truncate(time.Millisecond)) })
	for _, m := range d.Book().Struck(later) {
		d.unmark(m)
	}
	r.Resume(standing)
	return true, nil
}

// loadState leaves the judge as it is where there is no state, or none that fits.
func (d *daemon) loadState(now time.Time) error {
	state, err := d.archive.State()
	if err != nil || state == nil {
		return err
	}
	j, err := newJudge(d.cfg.rabbitry())
	if err != nil {
		return err
	}
	if err := j.load(state); err != nil {
		return err
	}
	if off := now.Sub(j.rabbitry.Seen()); off > warmUp {
		return fmt.Errorf("it is %v old", off.Round(time.Minute))
	}
	j.tracker = d.judge.tracker
	*d.judge = *j
	return nil
}
