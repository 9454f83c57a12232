package book_test

import (
	"testing"
	"time"

	"nestmon/thresholds/book"
)

func grown(t *testing.T, add ...book.Entry) *book.Book {
	t.Helper()
	b := book.New(rules, nil)
	for _, e := range add {
		e, err := b.Place(e)
		if err != nil {
			t.Fatalf("%v: %v", e, err)
		}
		if b, _, _, err = b.With(today, e); err != nil {
			t.Fatalf("%v: %v", e, err)
		}
	}
	return b
}

// Kits live on where they were collected into, which is no nest of the configuration.
func TestCollectedIntoACage(t *testing.T) {
	b := grown(t, append(nursing(), entry(book.Collected, 41, of(1), to("cage-3"), kits(8)),
		entry(book.Lost, 43, of(1), kits(1), cause(book.Other)), entry(book.Weighed, 44, nest("cage-3"), func(e *book.Entry) { e.Grams = 900; k := 3; e.Kits = &k }))...)
	if n, _ := b.Record(1).Alive(today, time.UTC); n != 7 {
		t.Errorf("%d alive", n)
	}
}

// A litter may be open long after it was collected, and the next one lie in its nest.
func TestCollectedAndTheNext(t *testing.T) {
	b := grown(t, append(nursing(), entry(book.Collected, 41, of(1), kits(8)), entry(book.Kindled, 50, nest("oak"), kits(5)))...)
	for _, what := range []book.What{book.Moved, book.Weaned, book.Ended} {
		if e, err := b.Place(entry(what, 59, nest("oak"))); err == nil {
			t.Errorf("%s is said of litter %d, and litter 1 may be meant", what, e.Litter)
		}
	}
	if e, err := b.Place(entry(book.Lost, 59, nest("oak"))); err != nil || e.Litter != 2 {
		t.Errorf("lost from a nest: %+v, %v; want of the litter that lies there", e, err)
	}
}

// A bare date stands before every hour of its day: moved and moved back, the litter would lie by the book where it is not.
func TestMovedTwiceOnADay(t *testing.T) {
	at := entry(book.Moved, 33, of(1), nest("oak"), to("elm"))
	at.At, at.Day = at.At.Add(8*time.Hour), false
	b := grown(t, append(nursing(), at)...)
	for _, back := range []book.Entry{entry(book.Moved, 33, nest("elm"), to("oak")), entry(book.Moved, 33, of(1), to("oak"))} {
		e, err := b.Place(back)
		if err != nil {
			t.Fatal(err)
		}
		if more, _, _, err := b.With(today, e); err == nil {
			t.Errorf("moved back to oak, and lies in %s", more.Record(1).Nest())
		}
		e.At, e.Day = e.At.Add(18*time.Hour), false
		if more, _, _, err := b.With(today, e); err != nil || more.Record(1).Nest() != "oak" {
			t.Errorf("with the hour: %v", err)
		}
	}
}

// What is entered late happened where the litter lay then.
func TestPlaceOfThen(t *testing.T) {
	b := grown(t, append(nursing(), entry(book.Moved, 35, of(1), to("elm")))...)
	e, err := b.Place(entry(book.Lost, 33, of(1), kits(1), cause(book.Chilled)))
	if err != nil || e.Nest != "oak" {
		t.Errorf("%v %v", e.Nest, err)
	}
}

// A doe that lost all of hers is the first to get others.
func TestFosterToWhoLostAll(t *testing.T) {
	b := grown(t, append(both(), entry(book.Lost, 34, of(2), kits(5), cause(book.Chilled)))...)
	if r := b.About(book.FosteredIn, "elm"); r == nil || r.ID != 2 {
		t.Errorf("%v", r)
	}
}
