package alarm

import (
	"strings"
	"testing"
)

// led is one legal transition. Each cell is the status after it, for an alarm that lasts or is over and that somebody still has to see
// or nobody has; an empty cell cannot come about.
type led struct {
	from               Status
	by                 Action
	lasts, lastsSeen   Status
	isOver, isOverSeen Status
}

// The clauses are those of OPC 10000-9, release 1.05.03, as far as they could be read (5.8.2, 5.8.17, table B.1); a * marks what is from
// memory, "ours" what it leaves open or has otherwise. There the states lie side by side; that one word names them all is ours.
var legal = []led{
	// Table B.1: an alarm that goes active is not acknowledged, whatever was acknowledged before.
	{Normal, Raise, Unacknowledged, "", "", ""},
	{Unacknowledged, Raise, Unacknowledged, "", "", ""}, // it grew worse
	{Acknowledged, Raise, Unacknowledged, "", "", ""},   // it grew worse: ours
	{Returned, Raise, Unacknowledged, "", "", ""},

	// Table B.1: inactive and not acknowledged is a state of its own. That notices and chores skip it is ours.
	{Unacknowledged, Clear, "", "", Returned, Normal},
	{Acknowledged, Clear, "", "", Returned, Normal}, // LatchedState, 5.8.2: it stays; otherwise table B.1

	// 5.7.3 *: what is acknowledged already stays so; that a second person is told no error is ours.
	{Unacknowledged, Acknowledge, Acknowledged, Acknowledged, "", ""},
	{Acknowledged, Acknowledge, Acknowledged, Acknowledged, "", ""},
	{Returned, Acknowledge, "", "", Normal, Normal}, // and Reset, 5.8.5 *, where it is latched: one deed does both, ours

	// TimedShelve, 5.8.17.4: of any alarm, active or not. That it may be shelved anew is ours, the clause allows to refuse it.
	{Normal, Shelve, "", "", "", Shelved},
	{Unacknowledged, Shelve, Shelved, Shelved, "", ""},
	{Acknowledged, Shelve, Shelved, Shelved, "", ""},
	{Returned, Shelve, "", "", Shelved, ""},
	{Shelved, Shelve, Shelved, Shelved, Shelved, Shelved},
	{Suppressed, Shelve, Shelved, Shelved, Shelved, Shelved}, // ours: a person's word counts first
	// 5.8.17.1: it stays shelved for its time, however often the alarm comes and goes. That one which grows worse ends the shelf is ours,
	// and the panel's: it unshelves first.
	{Shelved, Raise, Shelved, "", "", ""},
	{Shelved, Clear, "", "", Shelved, Shelved},
	// Unshelve, 5.8.17.2, and the time that has expired, 5.8.17.1.
	{Shelved, Unshelve, Unacknowledged, Acknowledged, Returned, Normal},

	// SuppressedState, 5.8.2, 5.8.8 and 5.8.10: another alarm stands for it; both go on meanwhile.
	{Normal, Suppress, "", "", "", Suppressed},
	{Unacknowledged, Suppress, Suppressed, Suppressed, "", ""},
	{Acknowledged, Suppress, Suppressed, Suppressed, "", ""},
	{Returned, Suppress, "", "", Suppressed, ""},
	{Suppressed, Suppress, Suppressed, Suppressed, Suppressed, Suppressed},
	{Suppressed, Raise, Suppressed, "", "", ""},
	{Suppressed, Clear, "", "", Suppressed, Suppressed},
	{Suppressed, Unsuppress, Unacknowledged, Acknowledged, Returned, Normal},

	// OutOfServiceState, 5.8.2, RemoveFromService, 5.8.12, and PlaceInService *.
	{Normal, TakeOut, "", "", "", OutOfService},
	{Unacknowledged, TakeOut, OutOfService, OutOfService, "", ""},
	{Acknowledged, TakeOut, OutOfService, OutOfService, "", ""},
	{Returned, TakeOut, "", "", OutOfService, ""},
	{Shelved, TakeOut, OutOfService, OutOfService, OutOfService, OutOfService},    // ours
	{Suppressed, TakeOut, OutOfService, OutOfService, OutOfService, OutOfService}, // ours
	{OutOfService, TakeOut, OutOfService, OutOfService, OutOfService, OutOfService},
	{OutOfService, Raise, OutOfService, "", "", ""},
	{OutOfService, Clear, "", "", OutOfService, OutOfService},
	{OutOfService, PutBack, Unacknowledged, Acknowledged, Returned, Normal},
}

// Refused is everything else, with how the error ends.
var refused = map[Status]map[Action]string{
	Normal: {
		Clear: "it is over already", Acknowledge: "look at what stands now", Unshelve: "it is not shelved",
		PutBack: "it is in service", Unsuppress: "no other alarm stands for it",
	},
	Unacknowledged: {Unshelve: "it is not shelved", PutBack: "it is in service", Unsuppress: "no other alarm stands for it"},
	Acknowledged:   {Unshelve: "it is not shelved", PutBack: "it is in service", Unsuppress: "no other alarm stands for it"},
	Returned: {
		Clear: "it is over already", Unshelve: "it is not shelved", PutBack: "it is in service", Unsuppress: "no other alarm stands for it",
	},
	Shelved: {
		Acknowledge: "unshelve it first", PutBack: "unshelve it instead", Suppress: "a person's word counts first",
		Unsuppress: "no other alarm stands for it",
	},
	Suppressed: {Acknowledge: "acknowledge the alarm that stands for it", Unshelve: "it is not shelved", PutBack: "it is in service"},
	OutOfService: {
		Acknowledge: "put it back in service first", Shelve: "put it back in service first", Unshelve: "put it back in service instead",
		Suppress: "a person's word counts first", Unsuppress: "no other alarm stands for it",
	},
}

func TestEveryStatusMeetsEveryAction(t *testing.T) {
	type pair struct {
		from Status
		by   Action
	}
	seen := map[pair]int{}
	for _, row := range legal {
		seen[pair{row.from, row.by}]++
		for l, want := range map[life]Status{
			{true, true}: row.lasts, {true, false}: row.lastsSeen, {false, true}: row.isOver, {false, false}: row.isOverSeen,
		} {
			if want == "" {
				continue
			}
			if got, err := row.from.after(row.by, l); got != want || err != nil {
				t.Errorf("%s, %s, %+v: %s, %v; want %s", row.from, row.by, l, got, err, want)
			}
		}
	}
	for from, all := range refused {
		for by, end := range all {
			seen[pair{from, by}]++
			for _, l := range []life{{true, true}, {true, false}, {false, true}, {false, false}} {
				got, err := from.after(by, l)
				if err == nil || got != from || !strings.HasSuffix(err.Error(), end) {
					t.Errorf("%s, %s: %s, %v; want it refused with %q at the end", from, by, got, err, end)
				}
			}
		}
	}
	actions := append([]Action{Raise, Clear, Suppress, Unsuppress}, Actions...)
	for _, from := range Statuses {
		for _, by := range actions {
			if n := seen[pair{from, by}]; n != 1 {
				t.Errorf("%s, %s: told %d times here, want once", from, by, n)
			}
		}
	}
	if want := len(Statuses) * len(actions); len(seen) != want {
		t.Errorf("%d pairs, want %d", len(seen), want)
	}
}

// A person may be called only for what is on and was not seen.
func TestOnlyUnacknowledgedCalls(t *testing.T) {
	for _, s := range Statuses {
		if s.Calls() != (s == Unacknowledged) {
			t.Errorf("%s calls: %v", s, s.Calls())
		}
	}
}
