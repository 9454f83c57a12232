package yearstest

import "time"

// Entry is what was said as the daemon takes it at its door.
func (s Said) Entry(loc *time.Location) map[string]any {
	e := map[string]any{"what": s.What, "at": s.Time(loc), "day": s.Hour == DayOnly}
	for name, v := range map[string]string{
		"nest": s.Nest, "to": s.To, "doe": s.Doe, "buck": s.Buck, "cause": s.Cause, "found": s.Found, "bedding": s.Bedding, "season": s.Season, "chore": s.Chore, "note": s.Note,
	} {
		if v != "" {
			e[name] = v
		}
	}
	for name, n := range map[string]int{"with": s.With, "replaces": s.Replaces} {
		if n != 0 {
			e[name] = n
		}
	}
	if s.Litter != 0 && !s.ByNest && (s.What != "bred" || s.Replaces != 0) {
		e["litter"] = s.Litter
	}
	for name, n := range map[string]int{"kits": s.Kits, "dead": s.Dead} {
		if n != Unsaid {
			e[name] = n
		}
	}
	for name, n := range map[string]float64{"grams": s.Grams, "depth": s.Depth} {
		if n != 0 {
			e[name] = n
		}
	}
	return e
}

// Time is when it is said to have happened: the beginning of a day of which no hour is known.
func (s Said) Time(loc *time.Location) time.Time {
	return s.On.At(max(s.Hour, 0), loc)
}
