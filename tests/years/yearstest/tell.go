package yearstest

import (
	"cmp"
	"container/heap"
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
)

// The rabbitry. Names are invented.
var (
	doeNames = []string{
		"Acorn", "Bracken", "Clover", "Dusk", "Ember", "Fern", "Ginger", "Hazel", "Ivy", "Juniper", "Kestrel", "Linnet",
		"Marigold", "Nettle", "Olive", "Pepper", "Quince", "Rowan", "Sorrel", "Thistle", "Umber", "Violet", "Willow", "Yarrow",
	}
	buckNames = []string{"Flint", "Moss", "Slate", "Tansy's Own"}
	kinds     = []struct {
		kind, name string
		nests      int
	}{{"wooden-box", "oak", 12}, {"metal-box", "tin", 10}, {"buried-tote", "tote", 8}}
)

// Tell tells the story of that seed. In the south winter is in July. marks is the share of the daily care that the keeper marks as done: with 1 he makes
// about 2300 entries a year.
func Tell(seed uint64, days Day, south bool, marks float64) *Story {
	t := &teller{
		Story: &Story{Seed: seed, Days: days, South: south, Bucks: buckNames, Does: doeNames, Gone: map[int]int{}},
		marks: marks, r: rand.New(rand.NewPCG(seed, 7)),
	}
	for _, k := range kinds {
		for n := range k.nests {
			t.Nests = append(t.Nests, &Nest{ID: fmt.Sprintf("%s-%02d", k.name, n+1), Kind: k.kind})
		}
	}
	for i, name := range doeNames {
		t.at(between(t.r, 0, 40), 17, t.breed(name, t.Nests[i*len(t.Nests)/len(doeNames)]))
	}
	for d := range days {
		t.at(d, 16, t.tryNonsense)
		t.at(d, 22.5, t.lose)
		if d%9 == 5 {
			t.at(d, 12, t.look)
		}
		t.at(d, 20, t.frost)
		t.at(d, 18.5, t.care)
	}
	for t.todo.Len() > 0 {
		next := heap.Pop(&t.todo).(todo)
		t.day, t.hour = next.day, next.hour
		next.do()
	}
	return t.Story
}

// teller tells a story in the order of time.
type teller struct {
	*Story
	r     *rand.Rand
	marks float64
	day   Day
	hour  float64
	todo  queue
	seq   int
	cold  Day // until when the frost lasts
}

type todo struct {
	day  Day
	hour float64
	seq  int
	do   func()
}

type queue []todo

func (q queue) Len() int      { return len(q) }
func (q queue) Swap(i, j int) { q[i], q[j] = q[j], q[i] }
func (q *queue) Push(x any)   { *q = append(*q, x.(todo)) }
func (q queue) Less(i, j int) bool {
	return cmp.Or(cmp.Compare(q[i].day, q[j].day), cmp.Compare(q[i].hour, q[j].hour), cmp.Compare(q[i].seq, q[j].seq)) < 0
}

func (q *queue) Pop() any {
	last := (*q)[len(*q)-1]
	*q = (*q)[:len(*q)-1]
	return last
}

// at lets something happen, unless the story is over by then.
func (t *teller) at(d Day, hour float64, do func()) {
	if d < t.Days {
		t.later(d, hour, do)
	}
}

func (t *teller) later(d Day, hour float64, do func()) {
	t.seq++
	heap.Push(&t.todo, todo{d, hour, t.seq, do})
}

// say makes an entry of the day; more fills in what it says.
func (t *teller) say(what string, l *Litter, more ...func(*Said)) Said {
	s := Said{What: what, On: t.day, Hour: DayOnly, Kits: Unsaid, Dead: Unsaid}
	if l != nil {
		s.Litter = l.Number
		if n := l.nest; n != nil {
			s.Nest, s.ByNest = n.ID, (n.kits == l || n.carried == l) && chance(t.r, 0.7)
		}
	}
	for _, f := range more {
		f(&s)
	}
	return s
}

// write has the keeper write it down now, and returns the number that the first gets.
func (t *teller) write(said ...Said) int {
	step := Step{Day: t.day, Hour: t.hour}
	for i := range said {
		said[i].Number = len(t.Entries) + 1
		if said[i].Replaces != 0 {
			t.Gone[said[i].Replaces] = said[i].Number
		}
		t.Entries = append(t.Entries, said[i])
	}
	step.Said = slices.Clone(said)
	t.Steps = append(t.Steps, step)
	return said[0].Number
}

// writeLater has it written down now or, sometimes, some days later.
func (t *teller) writeLater(then func(), said Said) {
	if !chance(t.r, writtenLater) {
		t.write(said)
		then()
		return
	}
	said.ByNest = false // it may lie elsewhere by then
	t.later(t.day+between(t.r, 1, 3), 21, func() { t.write(said); then() })
}

// correct has what was written wrongly corrected some days later. Until then nobody can rely on what the book says of these nests.
func (t *teller) correct(wrong, right Said, nests ...*Nest) {
	right.Replaces, right.ByNest = t.write(wrong), false
	for _, n := range nests {
		n.unsure++
	}
	t.later(t.day+between(t.r, 1, 3), 21.5, func() {
		t.write(right)
		for _, n := range nests {
			n.unsure--
		}
	})
}

// strike has an entry taken back.
func (t *teller) strike(wrong Said) {
	n := t.write(wrong)
	t.later(t.day, t.hour+0.25, func() {
		t.write(Said{What: "struck", Litter: wrong.Litter, On: wrong.On, Hour: DayOnly, Kits: Unsaid, Dead: Unsaid, Replaces: n})
	})
}

func kits(n int) func(*Said)        { return func(s *Said) { s.Kits = n } }
func on(d Day) func(*Said)          { return func(s *Said) { s.On = d } }
func hour(h float64) func(*Said)    { return func(s *Said) { s.Hour = h } }
func to(nest string) func(*Said)    { return func(s *Said) { s.To = nest } }
func why(c string) func(*Said)      { return func(s *Said) { s.Cause = c } }
func found(f string) func(*Said)    { return func(s *Said) { s.Found = f } }
func with(l *Litter) func(*Said)    { return func(s *Said) { s.With = l.Number } }
func weight(g float64) func(*Said)  { return func(s *Said) { s.Grams = g } }
func chore(name string) func(*Said) { return func(s *Said) { s.Chore = name } }
func in(nest *Nest) func(*Said)     { return func(s *Said) { s.Nest = nest.ID } }

// look notes how the nests are at noon.
func (t *teller) look() {
	l := Look{Day: t.day, Steps: len(t.Steps)}
	for _, n := range t.Nests {
		s := Seen{Nest: n.ID, Bred: None, Kindled: None, Alive: Unsaid}
		if n.unsure > 0 {
			continue
		}
		of := n.kits
		if of == nil {
			of = n.carried
		}
		if of != nil {
			s.Litter, s.Bred, s.Kindled, s.Boxed, s.Also, s.Marked = of.Number, of.Bred, of.Kindled, of.Boxed != None, n.kits != nil && n.carried != nil, maps.Clone(of.marked)
			if alive, known := of.Alive(t.day); known && of.owed == 0 {
				s.Alive = alive
			}
		}
		l.Nests = append(l.Nests, s)
	}
	t.Looks = append(t.Looks, l)
}
