package review

import (
	"nestmon/thresholds/book"
)

// Weight is one weigh-in.
type Weight struct {
	Age       int
	Kits      int     // weighed together; 1 where nobody says
	Each      float64 // g of one kit
	ADay      float64 // g that one gained a day since the last; 0 at the first
	Published *Growth // of about that age, nil where nothing is
	Low, High float64 // of Published, g
}

// Growth is what a study printed of kits of an age.
type Growth struct {
	Age       int
	Low, High float64 // g, or of what they weighed at birth where OfBirth
	OfBirth   bool
	Source    string
}

// growth published. They are of the breeds and houses of the studies, no limits.
var growth = []Growth{
	{0, 42.5, 53.2, false, "Veterinarija ir Zootechnika 82(1), 2024: means of the first to later litters"},
	{5, 88.5, 93.7, false, "Veterinarija ir Zootechnika 82(1), 2024"},
	{7, 111, 120, false, "Veterinarija ir Zootechnika 82(1), 2024"},
	{10, 2.7, 3, true, "\"nearly three times\" (J. Hull et al.); from 2.7 is ours"},
	{21, 7, 8, true, "while in the box (McNitt et al., Rabbit Production); the day is ours"},
	{35, 888, 966, false, "at weaning, in litters of 6 to 8 (Di Meo et al. 2004, AJAS 17:1158); its day is not given, day 35 is ours"},
}

// nearAge is how many days a weigh-in may lie from a published age to stand beside it; ours, no source: a kit gains a tenth a day.
const nearAge = 1

// growth reads the weigh-ins.
func (r *Review) growth(in *Input) {
	birth := 0.0
	for _, e := range r.Record.Entries {
		if e.What != book.Weighed {
			continue
		}
		w := Weight{Age: in.age(e.At), Kits: 1}
		if e.Kits != nil {
			w.Kits = *e.Kits
		}
		w.Each = e.Grams / float64(w.Kits)
		if w.Age == 0 {
			birth = w.Each
		}
		if n := len(r.Weights); n > 0 && w.Age > r.Weights[n-1].Age {
			w.ADay = (w.Each - r.Weights[n-1].Each) / float64(w.Age-r.Weights[n-1].Age)
		}
		for i, g := range growth {
			if off := w.Age - g.Age; off < -nearAge || off > nearAge || g.OfBirth && birth == 0 || g.Age == 0 && off != 0 {
				continue
			}
			w.Published, w.Low, w.High = &growth[i], g.Low, g.High
			if g.OfBirth {
				w.Low, w.High = g.Low*birth, g.High*birth
			}
		}
		r.Weights = append(r.Weights, w)
	}
}
