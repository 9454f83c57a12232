package yearstest

import (
	"math"
	"math/rand/v2"
)

// Gestation. The means of 390 and 346 kindlings are 31.73 and 31.67 days (Rashwan, Szendrő et al., World Rabbit Science); a spread is not published,
// 0.8 days is an assumption. Kindlings are seen on days 28 to 35 (veterinary text, second hand).
const (
	gestation, gestationSD        = 31.7, 0.8 // days
	shortGestation, longGestation = 28, 35
)

// Habits of does and keeper; invented.
const (
	conceives    = 0.825 // of breedings
	feltWrong    = 0.06  // of palpations
	feltUnsure   = 0.08
	uncounted    = 0.03 // of kindlings nobody counts
	bornDead     = 0.05 // of kits
	allDead      = 0.012
	writtenLater = 0.12 // of what can wait
	mistaken     = 0.04 // of what is written
)

// Of the losses before weaning, 70 to 78 % are in the first week and 16.6 % in the second (Rashwan & Marai 2000, second hand).
const firstWeek, secondWeek = 0.74, 0.166

// survives is the mean chance of a kit born alive to be weaned, by kind of nest and season. Invented, and known to nobody but the truth.
var survives = map[string]map[string]float64{
	"wooden-box":  {"winter": 0.80, "mild": 0.90, "summer": 0.87},
	"metal-box":   {"winter": 0.70, "mild": 0.88, "summer": 0.74},
	"buried-tote": {"winter": 0.90, "mild": 0.91, "summer": 0.92},
}

// alike is the correlation of fates within a litter; invented.
const alike = 0.15

// beta draws from the beta distribution of that mean and correlation.
func beta(r *rand.Rand, mean, alike float64) float64 {
	n := 1/alike - 1
	a, b := gamma(r, mean*n), gamma(r, (1-mean)*n)
	return a / (a + b)
}

// gamma draws from the gamma distribution of that shape (Marsaglia & Tsang 2000, with their boost below 1).
func gamma(r *rand.Rand, shape float64) float64 {
	if shape < 1 {
		return gamma(r, shape+1) * math.Pow(r.Float64(), 1/shape)
	}
	d := shape - 1.0/3
	c := 1 / math.Sqrt(9*d)
	for {
		x := r.NormFloat64()
		v := 1 + c*x
		if v <= 0 {
			continue
		}
		v *= v * v
		if math.Log(r.Float64()) < 0.5*x*x+d-d*v+d*math.Log(v) {
			return d * v
		}
	}
}

// gestationDays draws how long a doe carries.
func gestationDays(r *rand.Rand) Day {
	for {
		if d := Day(math.Round(gestation + gestationSD*r.NormFloat64())); d >= shortGestation && d <= longGestation {
			return d
		}
	}
}

// Lives is the mean chance of a kit of a litter to live to the end of a day, 0 for weaning.
func (l *Litter) Lives(day int) float64 {
	dead := 1.0 // of those that die before they are weaned
	switch d := float64(day); {
	case day == 0:
	case day < 7:
		dead = firstWeek * math.Pow((d+1)/7, 1/firstDays)
	case day < 14:
		dead = firstWeek + secondWeek*(d-6)/7
	case day < 14+laterDays:
		dead = firstWeek + secondWeek + (1-firstWeek-secondWeek)*(d-13)/laterDays
	}
	return 1 - (1-l.Mean)*dead
}

// Within the first week most die in the first days; invented. What dies later does so in these days after the second week.
const firstDays, laterDays = 1.6, 18

// dies draws the age at which a kit dies that does.
func dies(r *rand.Rand) Day {
	switch u := r.Float64(); {
	case u < firstWeek:
		return Day(7 * math.Pow(r.Float64(), firstDays))
	case u < firstWeek+secondWeek:
		return Day(7 + r.IntN(7))
	}
	return Day(14 + r.IntN(laterDays))
}

// grams is what a kit of an age weighs: 42 to 53 g at birth, 91 on day 5, 115 on day 7, about three times the birth weight on day 10, seven times at three weeks,
// 888 to 966 g at weaning (published; the notes of the project name the papers), straight lines between.
func grams(r *rand.Rand, age Day) float64 {
	points := []struct{ day, g float64 }{{0, 50}, {5, 91}, {7, 115}, {10, 150}, {21, 370}, {35, 920}}
	x := float64(age)
	for i := 1; i < len(points); i++ {
		if a, b := points[i-1], points[i]; x <= b.day {
			return (a.g + (b.g-a.g)*(x-a.day)/(b.day-a.day)) * (1 + 0.08*r.NormFloat64())
		}
	}
	return points[len(points)-1].g
}

// causes are what kits die of, by season; metal boxes make it worse. Invented.
func cause(r *rand.Rand, kind, season string, age Day) string {
	weights := map[string]float64{"chilled": 2, "overheated": 0.3, "dragged-out": 1.2, "crushed": 1, "unfed": 2, "other": 1.5}
	switch season {
	case "winter":
		weights["chilled"] = 7
	case "summer":
		weights["chilled"], weights["overheated"] = 0.4, 4
	}
	if kind == "metal-box" {
		weights["chilled"] *= 1.5
		weights["overheated"] *= 2
	}
	if age > 14 {
		weights["chilled"], weights["dragged-out"], weights["other"] = 0.2, 0.2, 5
	}
	all := 0.0
	for _, c := range Causes {
		all += weights[c]
	}
	u := r.Float64() * all
	for _, c := range Causes {
		if u -= weights[c]; u < 0 {
			return c
		}
	}
	return "other"
}

// Causes are those that the keeper knows.
var Causes = []string{"chilled", "overheated", "dragged-out", "crushed", "unfed", "other", "not-known"}

func chance(r *rand.Rand, p float64) bool { return r.Float64() < p }

// between draws a whole number, both ends included.
func between(r *rand.Rand, low, high int) Day { return Day(low + r.IntN(high-low+1)) }

func one[T any](r *rand.Rand, of []T) T { return of[r.IntN(len(of))] }
