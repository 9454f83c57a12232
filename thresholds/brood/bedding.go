package brood

// The load clock: kits soil their bedding as they weigh, day after day. Set so that a litter of eight in a box in mild
// weather comes due on the first of the bedding days, 14 as shipped, which is common practice; that practice is its only source. The same load comes again 6 days
// later and then after 4 (computed), where practice says 7 and then 3. The doe is not in it: a nursing doe passes 250-300 g of
// urine a day (Lebas et al., FAO), more than all kits, and one who leaves it in the nest wets it whatever the load.
const beddingLitter = 8 // kits

// beddingWetter is by how much more water a nest holds under the same load than a box in mild weather. Found on simulated nests,
// the same 94 litters in every kind, on day 10: boxes 145, 117 and 109 g in winter, mild weather and summer, a tote 145, 128 and 150;
// ours, no source. Summer does not put the box's clock back.
var beddingWetter = map[Season]struct{ box, tote float64 }{
	Winter: {1.2, 1.2},
	Mild:   {1, 1.1},
	Summer: {1, 1.3},
}

// BeddingLoad is the load in kg·days of kits since the last change at which bedding is due; first is the first bedding day.
func BeddingLoad(k Kind, s Season, first int) float64 {
	wetter := beddingWetter[s].box
	if k == BuriedTote {
		wetter = beddingWetter[s].tote
	}
	return beddingLitter * KitDays(0, first) / wetter
}

// KitDays is what a usual kit weighs, summed from one age to another: kg·days.
func KitDays(from, to int) float64 {
	sum := 0.0
	for d := from; d < to; d++ {
		sum += (KitMass(float64(d)) + KitMass(float64(d+1))) / 2 // exact: KitMass bends on whole days only
	}
	return sum
}
