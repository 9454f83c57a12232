package book_test

import (
	"reflect"
	"testing"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
	"nestmon/thresholds/brood"
)

func bedding(of string, cm float64) func(*book.Entry) {
	return func(e *book.Entry) { e.Bedding, e.Depth = of, cm }
}

func kind(k brood.Kind) func(*book.Entry) { return func(e *book.Entry) { e.Kind = k } }

func TestBeds(t *testing.T) {
	bed := func(from, until int, litter int64, of string, cm float64, k brood.Kind) book.Bed {
		b := book.Bed{From: day(from), Litter: litter, Bedding: of, Depth: cm, Kind: k}
		if until > 0 {
			b.Until = day(until)
		}
		return b
	}
	change := func(on int, of string, cm float64) book.Entry {
		return entry(book.Did, on, nest("oak"), chore(alarm.BeddingDue), bedding(of, cm))
	}
	for name, c := range map[string]struct {
		entries []book.Entry
		want    []book.Bed
	}{
		"bedded before, changed while they lay there, moved into the tote": {
			append(nursing(), entry(book.BoxIn, 28, of(1), bedding("shavings", 7.5), kind(brood.WoodenBox)), change(38, "straw", 5),
				entry(book.Moved, 45, of(1), to("tote"), bedding("hay", 10), kind(brood.BuriedTote))),
			[]book.Bed{
				bed(0, 28, 0, "", 0, ""), bed(28, 31, 0, "shavings", 7.5, brood.WoodenBox), bed(31, 38, 1, "shavings", 7.5, brood.WoodenBox),
				bed(38, 45, 1, "straw", 5, brood.WoodenBox), bed(45, 0, 0, "", 0, brood.WoodenBox),
			},
		},
		"dead on the day they were born, and it is known on what": {
			append(nursing(), entry(book.BoxIn, 28, of(1), bedding("straw", 0)), entry(book.Lost, 31, of(1), kits(8), cause(book.Chilled))),
			[]book.Bed{bed(0, 28, 0, "", 0, ""), bed(28, 31, 0, "straw", 0, ""), bed(31, 31, 1, "straw", 0, ""), bed(31, 0, 0, "", 0, "")},
		},
		"one goes and another comes on one day": {
			append(nursing(), entry(book.Weaned, 59, of(1), kits(8)), change(59, "hay", 0), entry(book.Kindled, 59, nest("oak"), of(2), kits(3))),
			[]book.Bed{bed(0, 31, 0, "", 0, ""), bed(31, 59, 1, "", 0, ""), bed(59, 0, 2, "hay", 0, "")},
		},
	} {
		t.Run(name, func(t *testing.T) {
			if got := write(t, c.entries...).Beds("oak"); !reflect.DeepEqual(got, c.want) {
				t.Errorf("got  %+v\nwant %+v", got, c.want)
			}
		})
	}
	moved := write(t, append(nursing(), entry(book.Moved, 45, of(1), to("tote"), bedding("hay", 10)), entry(book.CarriedIn, 46, nest("tote")), entry(book.CarriedOut, 47, nest("tote")))...)
	got := moved.Beds("tote")
	if len(got) != 3 || got[0].Litter != 1 || got[0].Bedding != "hay" || got[0].Indoors || !got[1].Indoors || got[2].Indoors || got[2].Bedding != "hay" {
		t.Errorf("the tote: %+v", got)
	}
	if none := moved.Beds("elm"); none != nil {
		t.Errorf("of a nest of which nothing is written: %+v", none)
	}
}
