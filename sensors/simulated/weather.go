package simulated

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"
)

// Conditions is the weather at one moment.
type Conditions struct {
	Temperature float64 // °C
	DewPoint    float64 // °C over water; air is never taken to be moister than 97 % RH
	Sun         float64 // on an unshaded wall, 0 none .. 1 full
}

// Weather is the air outside. At is asked with the site's time zone in t and answers the same for the same t.
type Weather interface {
	At(t time.Time) Conditions
}

// Daylight is the course of the sun through a day from 6 to 18 h local time, 0..1.
func Daylight(t time.Time) float64 { return max(0, math.Sin(math.Pi*(hour(t)-6)/12)) }

func hour(t time.Time) float64 {
	h, m, s := t.Clock()
	return float64(h) + float64(m)/60 + float64(s)/3600
}

// warmestHour is when a day peaks; the assumed course is a plain cosine.
const warmestHour = 15.0

func swing(t time.Time) float64 { return math.Cos(2 * math.Pi * (hour(t) - warmestHour) / 24) }

// The climate of Year: a continental one, invented.
const (
	climateMean      = 11.0 // °C
	climateAmplitude = 15.0 // K
	climateColdest   = 20.0 // day of the year
	synopticSD       = 4.5  // K
	synopticHours    = 60.0 // hours of memory
	yearDays         = 366  // after which the weather's chance repeats
)

// Year is a random year: seasons, fronts that come and go, clear and cloudy days. Its chance repeats after 366 days.
type Year struct {
	fronts [yearDays * 24]float64 // K, by hour
	diurnal,
	clear [yearDays]float64 // K of half swing; 0.3..1
}

// NewYear draws a year.
func NewYear(seed uint64) *Year {
	y := new(Year)
	r := stream(seed, "weather")
	var kicks [len(y.fronts)]float64
	keep := math.Exp(-1 / synopticHours)
	for i := range kicks {
		kicks[i] = r.NormFloat64() * synopticSD * math.Sqrt(1-keep*keep)
	}
	x := 0.0
	for range 2 { // the second round starts where the first ended, so the year closes on itself
		for i, kick := range kicks {
			x = keep*x + kick
			y.fronts[i] = x
		}
	}
	for i := range y.clear {
		y.clear[i] = 0.3 + 0.7*r.Float64()
		y.diurnal[i] = clamp(6+2*r.NormFloat64(), 2, 10) * y.clear[i]
	}
	return y
}

// At implements Weather.
func (y *Year) At(t time.Time) Conditions {
	_, offset := t.Zone()
	hours := float64(t.Unix()+int64(offset)) / 3600
	season := climateMean - climateAmplitude*math.Cos(2*math.Pi*(float64(t.YearDay()-1)+hour(t)/24-climateColdest)/365.25)
	mean := season + circular(y.fronts[:], hours)
	diurnal := circular(y.diurnal[:], hours/24-0.5) // each day's figure holds at its noon
	return Conditions{
		Temperature: mean + diurnal*swing(t),
		DewPoint:    mean - 0.8*diurnal - 1.5,
		Sun:         Daylight(t) * circular(y.clear[:], hours/24-0.5),
	}
}

// circular interpolates in a table that closes on itself.
func circular(table []float64, at float64) float64 {
	floor := math.Floor(at)
	i := int(floor) % len(table)
	if i < 0 {
		i += len(table)
	}
	a, b := table[i], table[(i+1)%len(table)]
	return a + (b-a)*(at-floor)
}

// Sample is one row of a Series.
type Sample struct {
	Time time.Time
	Conditions
}

// Series is recorded weather, linear between its rows and held beyond its ends.
type Series struct{ rows []Sample }

// NewSeries makes a Series of rows in order of time.
func NewSeries(rows []Sample) (*Series, error) {
	if len(rows) == 0 {
		return nil, errors.New("weather has no rows; give at least one")
	}
	for i := 1; i < len(rows); i++ {
		if !rows[i].Time.After(rows[i-1].Time) {
			return nil, fmt.Errorf("weather row %d (%s) is not later than the one before; sort the rows by time",
				i, rows[i].Time.Format(time.RFC3339))
		}
	}
	return &Series{rows: slices.Clone(rows)}, nil
}

// At implements Weather.
func (s *Series) At(t time.Time) Conditions {
	i, _ := slices.BinarySearchFunc(s.rows, t, func(r Sample, t time.Time) int { return r.Time.Compare(t) })
	switch i {
	case 0:
		return s.rows[0].Conditions
	case len(s.rows):
		return s.rows[i-1].Conditions
	}
	a, b := s.rows[i-1], s.rows[i]
	return blend(a.Conditions, b.Conditions, float64(t.Sub(a.Time))/float64(b.Time.Sub(a.Time)))
}

func blend(a, b Conditions, w float64) Conditions {
	return Conditions{
		Temperature: a.Temperature + (b.Temperature-a.Temperature)*w,
		DewPoint:    a.DewPoint + (b.DewPoint-a.DewPoint)*w,
		Sun:         a.Sun + (b.Sun-a.Sun)*w,
	}
}
