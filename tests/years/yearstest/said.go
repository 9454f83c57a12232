package yearstest

// Unsaid is the count of what nobody counted.
const Unsaid = -1

// DayOnly is the hour of what is known by its day alone.
const DayOnly = -1.0

// Said is one thing that the keeper says happened. Its number and its litter's are those the book must give.
type Said struct {
	Number, Litter, With, Replaces       int
	What                                 string
	On                                   Day
	Hour                                 float64
	Nest, To, Doe, Buck                  string
	Kits, Dead                           int
	Cause, Found, Bedding, Season, Chore string
	Depth, Grams                         float64
	Note                                 string
	ByNest                               bool // the keeper names the litter by its nest
}

// Step is what the keeper writes at once: one thing, or the two sides of a fostering.
type Step struct {
	Day     Day
	Hour    float64
	Said    []Said
	Refused string // part of the reason why it cannot be; empty where it is taken
}

// Look is a noon at which the nests are looked at, after the steps before it.
type Look struct {
	Day   Day
	Steps int // before it
	Nests []Seen
}

// Seen is one nest as it is and is known to be.
type Seen struct {
	Nest    string
	Litter  int // whose kits are in it, or which it is kept for; 0 for none
	Bred    Day
	Kindled Day
	Alive   int // Unsaid where nobody counted or not all was written yet
	Boxed   bool
	Also    bool           // the doe was bred again into this nest, and the kits are in it
	Marked  map[string]Day // when chores were marked done since it is there
}

// Litter is one litter as it truly was.
type Litter struct {
	Number                       int
	Doe, Buck                    string
	Bred, Kindled, Weaned, Ended Day
	Failed                       bool
	Found                        string
	Born, Dead                   int // Unsaid where nobody counted
	Season                       string
	Stays                        []Stay
	Kits                         []*Kit // born into it, alive
	Changes                      []Change
	Lost                         map[string]int // by cause
	Boxed                        Day            // the box went in
	Collected                    Day
	Grams                        map[Day]float64
	Sold, Kept                   int
	Chance                       float64 // of each of its kits to be weaned
	Mean                         float64 // of that chance, for its kind of nest and season
	leaves                       Day     // planned
	nest                         *Nest   // where its kits or its doe are
	in                           []*Kit  // living in it
	owed                         int     // losses not written yet
	marked                       map[string]Day
}

// Stay is a nest that a litter, or the doe that carries it, had.
type Stay struct {
	Nest        string
	From, Until Day
}

// Change is kits that came, were counted or went on a day.
type Change struct {
	On    Day
	Count int
}

// Kit is one kit.
type Kit struct {
	Dies Day // None for not before it is weaned
	Born Day
}

// Alive is how many kits of the litter lived at the end of a day; known is false where nobody counted.
func (l *Litter) Alive(d Day) (n int, known bool) {
	if l.Kindled == None || d < l.Kindled || l.Born == Unsaid {
		return 0, l.Kindled != None && d >= l.Kindled && l.Born != Unsaid
	}
	n = l.Born
	for _, c := range l.Changes {
		if c.On <= d {
			n += c.Count
		}
	}
	return n, true
}

// Nest is one nest.
type Nest struct {
	ID, Kind string
	carried  *Litter
	kits     *Litter
	unsure   int // entries about it that are wrong and not corrected yet
}

// Story is what was written, and what was true.
type Story struct {
	Seed    uint64
	Days    Day
	South   bool
	Nests   []*Nest
	Does    []string
	Bucks   []string
	Steps   []Step
	Looks   []Look
	Litters []*Litter // by number
	Entries []Said    // all, by number
	Gone    map[int]int
}
