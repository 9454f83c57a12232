package litter

import (
	"slices"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
)

// EarliestKindling is the day after breeding from which kits may lie in a nest though nobody has entered them: the first of the detector's window
// 27-36. Ours, no source.
const EarliestKindling = 27

// Days is when everything of the litter clock, and every other chore, falls due. DefaultDays are the shipped ones, each with its source;
// a configuration may set its own. Days of gestation count from the day of breeding, days of a litter from the day of kindling; each
// is day 0.
type Days struct {
	// Gestation.
	Pregnancy Window `yaml:"check_pregnancy"`
	BoxIn     Window `yaml:"box_in"`       // from when the box goes in, and from when that is late
	Kindling  Window `yaml:"kindling"`     // when kits can come at all,
	Expected  Window `yaml:"expected"`     // and when they are expected
	Strays    Window `yaml:"strays"`       // when kits may be born outside the box
	Overdue   int    `yaml:"overdue"`      // from when she is late
	Vet       int    `yaml:"veterinarian"` // from when dead kits are likely

	// The litter.
	Ration  Window   `yaml:"ration"`   // over which the doe's ration is raised
	Collect Window   `yaml:"collect"`  // from a buried tote
	Emerged int      `yaml:"emerged"`  // by when kits have come out of a nest by themselves
	TurnBox int      `yaml:"turn_box"` // on its side
	BoxOut  Seasonal `yaml:"box_out"`
	HideBox HideBox  `yaml:"hide_box"`
	Bedding Bedding  `yaml:"bedding"`
	Wean    Window   `yaml:"wean"`
	WeanAt  int      `yaml:"wean_at"` // the day that is suggested

	// By the hour, the weather and the year.
	Inspect Inspect `yaml:"inspect"`
	Indoors Indoors `yaml:"indoors"`
	Water   Water   `yaml:"water"`
	Flies   Flies   `yaml:"flies"`
	Reseal  Reseal  `yaml:"reseal"`

	Off []alarm.Name `yaml:"off"` // chores nobody wants to be told of
}

// Window is days in a row, both inclusive.
type Window struct {
	From int `yaml:"from"`
	To   int `yaml:"to"`
}

// Seasonal is a day for each season.
type Seasonal struct {
	Winter int `yaml:"winter"`
	Mild   int `yaml:"mild"`
	Summer int `yaml:"summer"`
}

// HideBox is by when the young want another place to hide, and for how long that is asked.
type HideBox struct {
	After int `yaml:"after"` // days after the nest box came out
	Days  int `yaml:"days"`
}

// Bedding is the days on which bedding is changed: two, and then every so many while the nest is used.
type Bedding struct {
	First  int `yaml:"first"`
	Second int `yaml:"second"`
	Every  int `yaml:"every"`
}

// Inspect is how often somebody looks in, and between which hours of the local day they are asked to.
type Inspect struct {
	Every time.Duration `yaml:"every"`
	From  int           `yaml:"from"`
	Until int           `yaml:"until"`
}

// Indoors is after how long a nest that was carried indoors must be back with the doe, and from when that is late.
type Indoors struct {
	Back time.Duration `yaml:"back"`
	Late time.Duration `yaml:"late"`
}

// Water is when the does' water is looked at while it freezes.
type Water struct {
	Morning int     `yaml:"morning"` // o'clock, local
	Evening int     `yaml:"evening"`
	Below   float64 `yaml:"below"` // °C outside, now or expected
}

// Flies is from what weather on the does and kits are looked at for fly strike.
type Flies struct {
	Above float64 `yaml:"above"` // °C outside, the days' highest, smoothed
	Damp  float64 `yaml:"damp"`  // °C where a nest's bedding is damp
	Every int     `yaml:"every"` // days
}

// Reseal is when the lid and pipe of a buried tote are sealed anew.
type Reseal struct {
	Years int `yaml:"years"`
	Wet   int `yaml:"wet"` // days in all with water coming in that bring it forward
}

// DefaultDays are the days as shipped.
func DefaultDays() Days {
	return Days{
		Pregnancy: Window{10, 14}, // feel for kits: common practice, no source

		// Common practice; 28-29, earlier gets fouled (veterinary text, secondary).
		BoxIn: Window{27, 29},

		// The window is 28-35 (veterinary text, secondary). In its middle lie the means of 31.73 and 31.67 days of 390 and 346 kindlings
		// (Rashwan, Szendrő et al., World Rabbit Science, published).
		Kindling: Window{28, 35},
		Expected: Window{31, 32},
		Strays:   Window{30, 33}, // round the expected days, where no probe sees a kit: ours, no source

		// Common practice; dead kits are likely after day 34 (veterinary text, secondary).
		Overdue: 33, Vet: 35,

		// That it is raised over days and doubled while she nurses: common practice, no source. Which days: ours, no source.
		Ration: Window{1, 7},

		// Common practice, no source; it fits eyes open at about 10 and kits beginning to leave at 13 (Hudson & Distel 1982, as cited by later
		// papers). By days 17 to 20 kits have come out by themselves (as above).
		Collect: Window{10, 12}, Emerged: 21,

		TurnBox: 14, // on its side: common practice, no source

		// Three weeks in summer and four in winter (common practice, no source); 15-21 "determined by weather" (McNitt et al., Rabbit
		// Production, published). Mild as winter is ours: too early costs more than too late.
		BoxOut: Seasonal{Winter: 28, Mild: 28, Summer: 21},

		HideBox: HideBox{After: 1, Days: 7},                          // that there is one: common practice, no source; the days: ours, no source
		Bedding: Bedding{First: 14, Second: 21, Every: 3},            // common practice, no source
		Wean:    Window{28, 56},                                      // 28-30 in experiments, 4-5 weeks in a veterinary text (secondary), 6-8 weeks common practice
		WeanAt:  35,                                                  // ours, within all but the last
		Inspect: Inspect{14 * time.Hour, 6, 21},                      // twice a day: common practice, no source. Longer than a night, shorter than a day: two looks a day never reach it
		Indoors: Indoors{Back: 12 * time.Hour, Late: 20 * time.Hour}, // she nurses about once in 24 h (Hoy & Selzer, World Rabbit Science: 1.12 times); the hours before that is over: ours
		Water:   Water{Morning: 7, Evening: 17, Below: 0},            // twice a day and unfrozen: common practice, no source; the hours: ours
		Flies:   Flies{Above: 20, Damp: 15, Every: 1},                // judgement, no source: warm days bring flies, and dirt brings them sooner
		Reseal:  Reseal{Years: 5, Wet: 7},                            // about five years: common practice, no source; the days: ours, no source
	}
}

// IsZero reports whether nobody has set anything.
func (d *Days) IsZero() bool { return d.Wean == Window{} }

// Wants reports whether a chore is to be told.
func (d *Days) Wants(chore alarm.Name) bool { return !slices.Contains(d.Off, chore) }

// BoxOutDay is the age in days at which the box comes out.
func (d *Days) BoxOutDay(season brood.Season) int {
	switch season {
	case brood.Summer:
		return d.BoxOut.Summer
	case brood.Winter:
		return d.BoxOut.Winter
	}
	return d.BoxOut.Mild
}

// Next is the day of a litter on which bedding is due again when it was changed last on day changed, negative for never. A change on
// the day before one of the two fixed days serves for it.
func (b Bedding) Next(changed int) int {
	switch {
	case changed < b.First-1:
		return b.First
	case changed < b.Second-1:
		return b.Second
	}
	return max(changed+b.Every, b.Second)
}

// Day is the latest day at or before age on which bedding was due, since it was changed on day changed; ok is false before the first.
func (b Bedding) Day(changed, age int) (day int, ok bool) {
	day = b.Next(changed)
	if age < day {
		return 0, false
	}
	for {
		next := day + b.Every
		if day < b.Second {
			next = b.Second
		}
		if next > age {
			return day, true
		}
		day = next
	}
}

// Daytime is t, or the next morning where nobody is asked to look in at t. A moment before the evening's end is too late already: what
// begins there is looked at once a minute.
func (i Inspect) Daytime(t time.Time, loc *time.Location) time.Time {
	const tooLate = 10 // min
	at := t.In(loc)
	y, m, d := at.Date()
	switch now := at.Hour()*60 + at.Minute(); {
	case now < i.From*60:
	case now >= i.Until*60-tooLate:
		d++
	default:
		return t
	}
	return time.Date(y, m, d, i.From, 0, 0, 0, loc)
}
