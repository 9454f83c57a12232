package main

import (
	"bytes"
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/sensors"
	"nestmon/thresholds/book"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/held"
	"nestmon/thresholds/survival"
)

const toteAndBox = `
site: {timezone: America/Denver, display: fahrenheit}
data: %[1]s
probes: [{id: shade, source: recorded}, {id: tote-air, source: recorded}, {id: oak-air, source: recorded}]
outside: shade
nests: [{id: tote, kind: buried-tote, air: tote-air}, {id: oak, kind: wooden-box, air: oak-air}]
`

var learnedNow = time.Date(2032, time.March, 1, 19, 0, 0, 0, time.UTC)

// learned is an invented year: six litters in the tote, six in the oak box, a doe that did not kindle, one litter that nobody counted and one
// that is three days old; and December's hours, in which the tote was 8 °C over outside.
func learned(t *testing.T, a *archive.Archive) {
	t.Helper()
	loc, err := time.LoadLocation("America/Denver")
	if err != nil {
		t.Fatal(err)
	}
	var entries []book.Entry
	put := func(e book.Entry, day time.Time) {
		e.At, e.Day = day, true
		entries = append(entries, e)
	}
	alive := map[string][]int{"oak": {8, 7, 8, 8, 6, 8}, "tote": {3, 2, 5, 1, 4, 2}}
	litter := int64(0)
	for nest, kits := range alive {
		for i, n := range kits {
			litter++
			born, eight, none := time.Date(2031, time.March, 10+54*i, 0, 0, 0, 0, loc), 8, 0
			put(book.Entry{Litter: litter, What: book.Bred, Nest: nest, Doe: "Hazel of " + nest, Buck: "Moss"}, born.AddDate(0, 0, -31))
			put(book.Entry{Litter: litter, What: book.Kindled, Nest: nest, Kits: &eight, Dead: &none, Season: brood.Mild, Bedding: "shavings", Depth: 7.62}, born)
			if lost := 8 - n; lost > 0 {
				put(book.Entry{Litter: litter, What: book.Lost, Kits: &lost, Cause: book.Chilled}, born.AddDate(0, 0, 2))
			}
			put(book.Entry{Litter: litter, What: book.Weaned, Kits: &n}, born.AddDate(0, 0, 35))
		}
	}
	five := 5
	put(book.Entry{Litter: 20, What: book.Bred, Nest: "oak", Doe: "Fern"}, time.Date(2031, time.January, 10, 0, 0, 0, 0, loc))
	put(book.Entry{Litter: 20, What: book.DidNotKindle}, time.Date(2031, time.February, 14, 0, 0, 0, 0, loc))
	put(book.Entry{Litter: 21, What: book.Kindled, Nest: "oak"}, time.Date(2032, time.January, 20, 0, 0, 0, 0, loc))
	put(book.Entry{Litter: 21, What: book.Weaned}, time.Date(2032, time.February, 25, 0, 0, 0, 0, loc))
	put(book.Entry{Litter: 22, What: book.Kindled, Nest: "oak", Kits: &five}, time.Date(2032, time.February, 27, 0, 0, 0, 0, loc))
	rules := book.Rules{Location: loc, Nests: map[string]brood.Kind{"tote": brood.BuriedTote, "oak": brood.WoodenBox}}
	_, stored, _, err := book.New(rules, nil).With(learnedNow, entries...)
	if err != nil {
		t.Fatal(err)
	}
	if err := a.PutEntries(stored); err != nil {
		t.Fatal(err)
	}
	december := time.Date(2031, time.December, 1, 0, 0, 0, 0, loc)
	for h := range 31*24 + 1 {
		at := december.Add(time.Duration(h) * time.Hour)
		air := math.Mod(float64(h), 24) - 15
		c := exporter.Commit{Time: at, Synced: true}
		for probe, v := range map[string]float64{"shade": air, "tote-air": air + 8, "oak-air": air - 1.5} {
			c.Readings = append(c.Readings, sensors.Reading{Probe: probe, Quantity: sensors.Temperature, Time: at, Value: v})
		}
		if err := a.Commit(c); err != nil {
			t.Fatal(err)
		}
	}
}

func litterSays(t *testing.T, args ...string) (code int, out, errs string) {
	t.Helper()
	var o, e bytes.Buffer
	code = litterCommand.run(t.Context(), args, stdio{out: &o, err: &e})
	return code, o.String(), e.String()
}

func TestWhatWasLearned(t *testing.T) {
	var probes []sensors.Probe
	for _, id := range []string{"shade", "tote-air", "oak-air"} {
		probes = append(probes, sensors.Probe{ID: id, Quantities: []sensors.Quantity{sensors.Temperature}, Interval: time.Hour})
	}
	config := doorTo(t, toteAndBox, probes, learnedNow, func(a *archive.Archive) { learned(t, a) })
	say := func(t *testing.T, args ...string) string {
		t.Helper()
		code, out, errs := litterSays(t, append(args, "--config", config)...)
		if code != exitDone || errs != "" {
			t.Errorf("exit %d, said %q", code, errs)
		}
		for line := range strings.Lines(out) {
			if slices.Contains(args, "--json") {
				break
			}
			if n := len([]rune(strings.TrimRight(line, "\n"))); n > lineWidth {
				t.Errorf("%d letters wide: %s", n, line)
			}
		}
		return out
	}
	t.Run("by nest", func(t *testing.T) {
		out := say(t, "outcomes", "--by", "nest")
		for _, want := range []string{
			"What became of the kits of 14 litters: percent alive",
			"nest  day 3          day 10         day 21         weaned\n",
			"oak   94 [73-99] 6   94 [73-99] 6   94 [73-99] 6   94 [73-99] 6\n",
			"tote  35 [17-57] 6   35 [17-57] 6   35 [17-57] 6   35 [17-57] 6\n",
			"oak   8        53    7.6 ± 1.1 (5-8)  0 % of 48  14 % [3-51] of 7\n",
			"chilled    0      34   0     0      0      34\n",
			"oak (94 % weaned) and tote (35 %) differ by more than chance easily makes among\n2 nests.",
			"- Left out, litters too young: 1 to every day (weaning counts from day 36 on).",
			"- Left out, litters whose kits nobody counted at birth: 1 to every day.",
		} {
			if !strings.Contains(out, want) {
				t.Errorf("%q is not in:\n%s", want, out)
			}
		}
	})
	t.Run("what nobody wrote down", func(t *testing.T) {
		out := say(t, "outcomes", "--by", "season", "--since", "2031-12-05")
		if !strings.Contains(out, "mild       ") || !strings.Contains(out, "not known  ") || !strings.Contains(out, "4 litters born since 2031-12-05") {
			t.Errorf("got:\n%s", out)
		}
	})
	t.Run("of a span", func(t *testing.T) {
		if out := say(t, "outcomes", "--since", "2031-03-10", "--until", "2031-03-10"); !strings.Contains(out, "2 litters born since 2031-03-10 up to 2031-03-10") ||
			!strings.Contains(out, "2*") || !strings.Contains(out, "* too few litters to tell") {
			t.Errorf("got:\n%s", out)
		}
	})
	t.Run("of none", func(t *testing.T) {
		if out := say(t, "outcomes", "--since", "2032-03-01"); !strings.Contains(out, "none yet") {
			t.Errorf("got:\n%s", out)
		}
	})
	t.Run("as JSON", func(t *testing.T) {
		var r survival.Report
		if err := json.Unmarshal([]byte(say(t, "outcomes", "--by", "doe", "--json")), &r); err != nil || len(r.Groups) != 4 || r.All.Days[3].Of != 96 || r.All.Days[3].Low == nil {
			t.Errorf("%v: %+v", err, r)
		}
	})
	t.Run("held", func(t *testing.T) {
		out := say(t, "held", "--nest", "tote")
		for _, want := range []string{
			"tote  Dec    shavings 3 in  14 °F (8 °C)  14 to 14 °F    624    1\n",
			"tote  Dec    empty          14 °F (8 °C)  14 to 14 °F    96     0\n",
			"tote held 14 °F (8 °C) over outside in December with 3 in (8 cm) of shavings and\nkits in it (624 h, 1 litter), nine hours of ten 14 to 14 °F (8 to 8 °C); empty\nit held 14 °F (8 °C) (96 h).\n",
		} {
			if !strings.Contains(out, want) {
				t.Errorf("%q is not in:\n%s", want, out)
			}
		}
		if out := say(t, "held"); strings.Contains(out, "empty  ") || !strings.Contains(out, "oak was 3 °F (2 °C) colder than outside") {
			t.Errorf("of all nests:\n%s", out)
		}
		var rows []held.Row
		if err := json.Unmarshal([]byte(say(t, "held", "--json")), &rows); err != nil || !slices.ContainsFunc(rows, func(r held.Row) bool {
			return r.Nest == "oak" && r.Kits && math.Abs(r.Mean.C+1.5) < 0.01 && math.Abs(r.Mean.F+2.7) < 0.01
		}) {
			t.Errorf("%v: %+v", err, rows)
		}
		if out := say(t, "held", "--since", "2032-03-01"); !strings.Contains(out, "There is no hour yet") {
			t.Errorf("of no hour:\n%s", out)
		}
	})
	for name, row := range map[string]struct {
		args []string
		want string
	}{
		"by something else":   {[]string{"outcomes", "--by", "moon"}, `--by "moon" is unknown; write one of: nest, kind,`},
		"since no day":        {[]string{"outcomes", "--since", "spring"}, `--since "spring" is not a day`},
		"a nest nobody knows": {[]string{"held", "--nest", "ash"}, `nest "ash" is not in the configuration`},
		"held since no day":   {[]string{"held", "--since", "spring"}, `"spring" is not a time`},
		"a report of none":    {[]string{"report", "--litter", "99"}, "there is no litter 99"},
		"no such flag":        {[]string{"held", "--warmth"}, "not defined: -warmth; 'nestmon litter held -h' tells"},
		"a flag of an entry":  {[]string{"lost", "--kits", "few"}, `"few" is not a whole number`},
		"a word too many":     {[]string{"list", "oak"}, `"oak" is not expected here`},
	} {
		t.Run(name, func(t *testing.T) {
			if code, _, errs := litterSays(t, append(row.args, "--config", config)...); code != exitWrongUse || !strings.Contains(errs, row.want) || strings.Count(errs, "\n") != 1 {
				t.Errorf("exit %d, said %q; want one line with %q", code, errs, row.want)
			}
		})
	}
}
