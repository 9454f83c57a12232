package litter

import "time"

// Litter is one litter as the litter book holds it. A zero time means not known, or not yet.
type Litter struct {
	ID      int64 // the book's key, 0 outside it
	Nest    string
	Bred    time.Time // the day the doe was bred
	Kindled time.Time // from then on the litter is there
	Born    int       // kits born alive, 0 when not entered
	Kits    int       // kits alive now, 0 when not known
	Since   time.Time // in this nest, where it began in another
	Indoors time.Time // since when the nest is indoors for the night
	Ended   time.Time // the kits are gone: weaned, collected, moved, lost
}

// Equal reports whether both say the same, in whatever zone.
func (l Litter) Equal(o Litter) bool {
	return l.ID == o.ID && l.Nest == o.Nest && l.Born == o.Born && l.Kits == o.Kits &&
		l.Since.Equal(o.Since) && l.Indoors.Equal(o.Indoors) &&
		l.Bred.Equal(o.Bred) && l.Kindled.Equal(o.Kindled) && l.Ended.Equal(o.Ended)
}

// UnknownBorn is the number of kits assumed where none was entered: near the mean born alive of 6.9 to 7.8 in
// Frangiadaki et al., World Rabbit Science (quoted in the project's notes, not read in full).
const UnknownBorn = 7
