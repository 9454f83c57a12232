package litter

import (
	"time"

	"nestmon/thresholds/brood"
)

// Calendar holds the dates of one litter. A zero Date or Span does not apply, or cannot be known.
type Calendar struct {
	Bred            Date     `json:"bred"`
	CheckPregnancy  Span     `json:"check_pregnancy"`
	BoxDue          Span     `json:"box_due"`
	Kindling        Kindling `json:"kindling"`
	Overdue         Date     `json:"overdue"`
	TurnBox         Date     `json:"turn_box"`   // none for a tote
	RemoveBox       Date     `json:"remove_box"` // none for a tote
	CollectFromTote Span     `json:"collect_from_tote"`
	Wean            Wean     `json:"wean"`
}

// Span is some dates in a row, both ends inclusive; null in JSON when it is none.
type Span struct{ From, To Date }

// Kindling is when kits are expected.
type Kindling struct {
	Earliest     Date `json:"earliest"`
	ExpectedFrom Date `json:"expected_from"`
	ExpectedTo   Date `json:"expected_to"`
	Latest       Date `json:"latest"`
}

// Wean is when kits can leave the doe.
type Wean struct {
	From      Date `json:"from"`
	To        Date `json:"to"`
	Suggested Date `json:"suggested"`
}

// IsZero reports whether the span is none.
func (s Span) IsZero() bool { return s == Span{} }

// MarshalJSON writes the two dates, or null.
func (s Span) MarshalJSON() ([]byte, error) {
	if s.IsZero() {
		return []byte("null"), nil
	}
	return []byte(`{"from":"` + s.From.String() + `","to":"` + s.To.String() + `"}`), nil
}

// Calendar gives the dates of a litter. Either time may be zero for not known. Dates after kindling count from kindled;
// while that is not known, single dates and the beginnings of spans count from the first expected day and the ends of
// spans from the last.
func (d *Days) Calendar(bred, kindled time.Time, kind brood.Kind, season brood.Season, loc *time.Location) Calendar {
	from := DateOf(bred, loc)
	span := func(w Window) Span { return Span{from.Add(w.From), from.Add(w.To)} }
	c := Calendar{
		Bred:           from,
		CheckPregnancy: span(d.Pregnancy),
		BoxDue:         span(d.BoxIn),
		Kindling: Kindling{
			Earliest: from.Add(d.Kindling.From), ExpectedFrom: from.Add(d.Expected.From),
			ExpectedTo: from.Add(d.Expected.To), Latest: from.Add(d.Kindling.To),
		},
		Overdue: from.Add(d.Overdue),
	}
	first, last := c.Kindling.ExpectedFrom, c.Kindling.ExpectedTo
	if !kindled.IsZero() {
		first = DateOf(kindled, loc)
		last = first
	}
	if kind == brood.BuriedTote {
		c.CollectFromTote = Span{first.Add(d.Collect.From), last.Add(d.Collect.To)}
	} else {
		c.TurnBox = first.Add(d.TurnBox)
		c.RemoveBox = first.Add(d.BoxOutDay(season))
	}
	c.Wean = Wean{first.Add(d.Wean.From), last.Add(d.Wean.To), first.Add(d.WeanAt)}
	return c
}
