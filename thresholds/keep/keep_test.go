package keep_test

import (
	"bytes"
	"errors"
	"math"
	"reflect"
	"slices"
	"testing"
	"time"

	"nestmon/thresholds/keep"
	"nestmon/thresholds/keep/keeptest"
)

type entry struct {
	Name string
	At   time.Time
	Of   []int
}

type memory struct {
	on      bool
	count   int
	many    uint64
	small   float32
	value   float64
	ring    [5]float32
	since   time.Time
	lasts   time.Duration
	entry   entry
	entries []entry
	done    map[string]time.Time
	newest  *entry
}

func (m *memory) fields() []any {
	return []any{
		keep.Mark("memory"), &m.on, &m.count, &m.many, &m.small, &m.value, &m.ring, &m.since, &m.lasts, &m.entry, &m.entries, &m.done, &m.newest,
	}
}

var barn = time.FixedZone("barn", -6*3600)

func full() *memory {
	at := time.Date(2031, time.March, 9, 1, 59, 59, 123456789, barn)
	return &memory{
		true, -7, math.MaxUint64, float32(math.Inf(-1)), math.SmallestNonzeroFloat64,
		[5]float32{1.25, -0.01, 0, float32(math.Inf(1)), 1e30},
		at, -time.Hour,
		entry{"Häsin", at.UTC(), []int{1, -2, math.MaxInt}},
		[]entry{{}, {At: at.In(time.FixedZone("", 5*3600+1800))}},
		map[string]time.Time{"b": at, "a": {}},
		&entry{Name: "newest"},
	}
}

func TestGoesInAndComesOut(t *testing.T) {
	for name, m := range map[string]*memory{"full": full(), "empty": {done: map[string]time.Time{}}} {
		t.Run(name, func(t *testing.T) {
			state := keep.Write(barn, m.fields())
			got := *full()
			if err := keep.Read(barn, state, got.fields()); err != nil {
				t.Fatal(err)
			}
			if !reflect.DeepEqual(got, *m) {
				t.Errorf("got  %+v\nwant %+v", got, *m)
			}
			if again := keep.Write(barn, got.fields()); !bytes.Equal(again, state) {
				t.Error("what came out is written in another way")
			}
		})
	}
}

// Not a number is what stands for a missing value; as it equals nothing, it is compared by itself.
func TestNotANumberStaysOne(t *testing.T) {
	m := memory{small: float32(math.NaN()), value: math.NaN(), ring: [5]float32{3: float32(math.NaN())}}
	var got memory
	if err := keep.Read(barn, keep.Write(barn, m.fields()), got.fields()); err != nil {
		t.Fatal(err)
	}
	if !math.IsNaN(float64(got.small)) || !math.IsNaN(got.value) || !math.IsNaN(float64(got.ring[3])) || got.ring[2] != 0 {
		t.Errorf("%+v", got)
	}
}

// A time from a running clock loses that clock and nothing else.
func TestTimeLosesItsClock(t *testing.T) {
	now := time.Now() //nolint:forbidigo // only a running clock has one to lose
	var got time.Time
	if err := keep.Read(time.Local, keep.Write(time.Local, []any{&now}), []any{&got}); err != nil {
		t.Fatal(err)
	}
	if !got.Equal(now) || got != now.Round(0) {
		t.Errorf("got %v of %v", got, now)
	}
}

// Wherever a bit flips, and wherever the end is cut off, the state is refused and nothing has changed.
func TestDamageIsRefused(t *testing.T) {
	state := keep.Write(barn, full().fields())
	refused := func(state []byte) {
		t.Helper()
		var got memory
		if err := keep.Read(barn, state, got.fields()); !errors.Is(err, keep.ErrDamaged) {
			t.Errorf("%v", err)
		}
		if !reflect.DeepEqual(got, memory{}) {
			t.Error("half of it was read")
		}
	}
	for i := range state {
		spoilt := slices.Clone(state)
		spoilt[i] ^= 1 << (i % 8)
		refused(spoilt)
		refused(state[:i])
	}
	refused(append(slices.Clone(state), 0))
}

func TestForeignIsRefused(t *testing.T) {
	type wider struct {
		entry
		More bool
	}
	m := full()
	state := keep.Write(barn, m.fields())
	var more wider
	for name, fields := range map[string][]any{
		"one less":      m.fields()[:5],
		"one more":      append(m.fields(), &more.More),
		"another mark":  append([]any{keep.Mark("other")}, m.fields()[1:]...),
		"another order": append([]any{keep.Mark("memory"), &m.count, &m.on}, m.fields()[3:]...),
		"a longer ring": append(slices.Clone(m.fields()[:6]), append([]any{new([6]float32)}, m.fields()[7:]...)...),
		"another entry": append(slices.Clone(m.fields()[:9]), append([]any{&more}, m.fields()[10:]...)...),
	} {
		if err := keep.Read(barn, state, fields); !errors.Is(err, keep.ErrForeign) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// What is left out is found, wherever it lies.
func TestForgottenIsFound(t *testing.T) {
	type part struct{ a, b int }
	type whole struct {
		first  int // lies where the whole lies
		one    part
		some   []*part
		parts  []part
		named  map[string]*part
		none   *part
		plain  []int
		begin  time.Time
		table  int //nolint:unused // found by reflection
		inside [2]part
	}
	w := &whole{some: []*part{{}}, parts: make([]part, 1), named: map[string]*part{"x": {}}}
	stray := 0
	listed := []any{
		&w.first, &w.one.a, &w.one.b, &w.some[0].a, &w.some[0].b, &w.parts[0].a, &w.parts[0].b, &w.named["x"].a, &w.named["x"].b, &w.none, &w.plain,
		&w.begin, &w.inside,
	}
	wiring := map[string]string{"keep_test.whole.table": "made once"}
	if all := keeptest.Forgotten(w, listed, wiring); len(all) > 0 {
		t.Errorf("nothing is forgotten, and yet: %q", all)
	}
	for i := range listed {
		if all := keeptest.Forgotten(w, slices.Delete(slices.Clone(listed), i, i+1), wiring); len(all) == 0 {
			t.Errorf("without field %d of the list nothing is missed", i)
		}
	}
	for name, all := range map[string][]string{
		"a listed stray":         keeptest.Forgotten(w, append(listed, &stray), wiring),
		"no wiring named":        keeptest.Forgotten(w, listed, nil),
		"wiring that is no more": keeptest.Forgotten(w, listed, map[string]string{"keep_test.whole.table": "", "keep_test.whole.gone": ""}),
	} {
		if len(all) != 1 {
			t.Errorf("%s: %q", name, all)
		}
	}
}
