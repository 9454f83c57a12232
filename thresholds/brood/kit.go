package brood

// point is a value at an age.
type point struct{ day, value float64 }

// along follows straight lines through the points, flat outside them.
func along(points []point, day float64) float64 {
	if !(day > points[0].day) { // NaN too: an age that is not known is a newborn's
		return points[0].value
	}
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		if day < b.day {
			return a.value + (b.value-a.value)*(day-a.day)/(b.day-a.day)
		}
	}
	return points[len(points)-1].value
}

// LowerCritical is the temperature in °C of their surroundings below which kits must make extra heat, which they cannot
// drink back: 32, 28 and 24 °C at day 1, 10 and 20 (Sanz et al. 1989, Animal Production; published, 550 kits in air of 12
// to 36 °C). The lines between are ours.
func LowerCritical(ageDays float64) float64 {
	return along([]point{{1, 32}, {10, 28}, {20, 24}}, ageDays)
}

// Preferred is the temperature in °C that kits seek: 38.0 ± 0.8 at day 0 and 30.4 ± 0.5 at day 14 (Hull, Hull & Vinter
// 1986, Neonatology 50:323; published). The line between is ours.
func Preferred(ageDays float64) float64 {
	return along([]point{{0, 38.0}, {14, 30.4}}, ageDays)
}

// KitMass is the mass in kg of a usual kit, for weighing how much a litter soils its bedding; never for judging a kit.
// Birth 49.8 g (second litter), day 5 88.5-93.7 g, day 7 111-120 g: Veterinarija ir Zootechnika 82(1), 2024, published,
// middles of the ranges. Day 10 nearly three times birth: J. Hull et al., published. Day 21 seven to eight times birth:
// McNitt et al., Rabbit Production, published. Weaning 888-966 g: Di Meo et al. 2004, AJAS 17:1158, published, whose day
// is not given; day 35 is ours. Flat after it.
func KitMass(ageDays float64) float64 {
	return along([]point{{0, 0.0498}, {5, 0.0911}, {7, 0.1155}, {10, 0.149}, {21, 0.374}, {35, 0.927}}, ageDays)
}
