package review

import (
	"errors"
	"fmt"
	"time"

	"nestmon/thresholds/book"
	"nestmon/thresholds/litter"
)

// Review is one litter looked back on. Days are whole local days of age, 0 the day of birth.
type Review struct {
	Record *book.Record
	Open   bool      // something is still to come
	Until  time.Time // the end of what it tells: of the litter, or now
	Age    int       // in days, then
	Scale  Scale

	Gestation int // days from breeding to birth; -1 where one of them is not known
	WeanedAt  int // day of age; -1 where they are not

	Left     int // alive at the end, by the book; where Record.Born is known
	Of       int // of those born alive and fostered in less those fostered out
	In, Out  int // kits fostered
	Losses   []Loss
	Lost     int // of Losses
	Survival []Survival
	Weights  []Weight

	Spans   []Span
	Limits  []Limits // as they follow each other with age
	Hours   []Seen   // one after the other
	Outside []Sample
	Pile    Judged
	Nest    Judged    // its air
	Late    time.Time // from when hours are judged, where that is not the birth; zero else
	Days    []Day

	Visits  Visits
	Came    []time.Time // each of them, in order
	Alarms  []Alarm
	Answers bool // whether it is known who answered them
	Bedding []Change

	Conclusions []Conclusion

	location *time.Location
	fresh    int            // day of age at which bedding is due first
	chilled  [][2]time.Time // from when to when the alarm for a chilled pile stood
}

// ErrNoKits says that there is nothing to look back on.
var ErrNoKits = errors.New("has no kits yet")

// Of looks back on a litter.
func Of(in Input) (*Review, error) {
	rec := in.Record
	switch {
	case rec.Failed:
		return nil, fmt.Errorf("litter %d %w: she did not kindle", rec.ID, ErrNoKits)
	case rec.Kindled.IsZero():
		return nil, fmt.Errorf("litter %d %w; enter its kindling first", rec.ID, ErrNoKits)
	}
	if in.Days.IsZero() {
		in.Days = litter.DefaultDays()
	}
	r := &Review{Record: rec, Open: rec.Open(), Until: rec.Ended, Scale: in.Scale, Gestation: -1, WeanedAt: -1, location: in.Location, fresh: in.Days.Bedding.First}
	if r.Open || r.Until.After(in.Now) {
		r.Until = in.Now
	}
	r.Age = in.age(r.Until)
	if !rec.Bred.IsZero() {
		r.Gestation = litter.Day(rec.Bred, rec.Kindled, in.Location)
	}
	if !rec.Weaned.IsZero() {
		r.WeanedAt = in.age(rec.Weaned)
	}
	r.spans(&in)
	r.limits(&in)
	r.judge(&in)
	r.alarms(&in)
	r.kits(&in)
	r.growth(&in)
	r.visits(&in)
	r.bedding(&in)
	r.days(&in)
	r.conclude()
	return r, nil
}

// ageOf is age for who has no Input.
func (r *Review) ageOf(t time.Time) int { return litter.Day(r.Record.Kindled, t, r.location) }

// age is the day of age at a time.
func (in *Input) age(t time.Time) int { return litter.Day(in.Record.Kindled, t, in.Location) }
