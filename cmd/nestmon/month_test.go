package main

import (
	"bytes"
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"nestmon/sensors/recorded"
	"nestmon/sensors/simulated"
)

const monthConfig = `
site: {timezone: America/Denver}
outside: shade
probes:
  - {id: shade, source: recorded}
  - {id: oak-a, source: recorded}
  - {id: oak-b, source: recorded}
  - {id: oak-air, source: recorded}
  - {id: ash-a, source: recorded}
  - {id: ash-air, source: recorded}
  - {id: ash-co2, source: recorded}
  - {id: elm-a, source: recorded}
  - {id: elm-air, source: recorded}
nests:
  - {id: oak, kind: wooden-box, floor: wire, cluster: [oak-a, oak-b], air: oak-air}
  - {id: ash, kind: metal-box, cluster: ash-a, air: ash-air, co2: ash-co2}
  - {id: elm, kind: buried-tote, cluster: elm-a, air: elm-air}
`

// month simulates four weeks and more in which the clocks change, and writes them as readings and litter book.
func month(t *testing.T) (readings, litters string) {
	t.Helper()
	denver, err := time.LoadLocation("America/Denver")
	if err != nil {
		t.Fatal(err)
	}
	from := time.Date(2031, time.February, 20, 0, 0, 0, 0, denver)
	day := func(n int) time.Time { return from.AddDate(0, 0, n) }
	world, err := simulated.New(simulated.Config{
		Seed: 31, Start: from, Location: denver, Step: time.Minute, Poll: 2 * time.Minute, Outside: "shade", Flaws: true,
		Nests: []simulated.Nest{
			{ID: "oak", Kind: simulated.WoodenBox, Floor: simulated.WireFloor, Kits: 8, Kindled: day(3), Cluster: []string{"oak-a", "oak-b"}, Air: "oak-air"},
			{ID: "ash", Kind: simulated.MetalBox, Exposure: 0.8, Kits: 6, Kindled: day(-4), Cluster: []string{"ash-a"}, Air: "ash-air", CO2: "ash-co2"},
			{ID: "elm", Kind: simulated.BuriedTote, Kits: 9, Kindled: day(10), Cluster: []string{"elm-a"}, Air: "elm-air"},
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range []simulated.Event{
		{Kind: simulated.Scatter, Nest: "oak", From: day(8), To: day(9)},
		{Kind: simulated.ProbePulled, Nest: "ash", From: day(5), To: day(6)},
		{Kind: simulated.Stuck, Nest: "elm", Probe: "elm-a", From: day(14), To: day(15)},
		{Kind: simulated.VentBlocked, Nest: "ash", From: day(12), To: day(14)},
		{Kind: simulated.Death, Nest: "elm", From: day(22)},
	} {
		if err := world.Schedule(e); err != nil {
			t.Fatal(err)
		}
	}
	now := from
	source, err := world.Source("simulated", func() time.Time { return now })
	if err != nil {
		t.Fatal(err)
	}
	var csv strings.Builder
	w := recorded.NewWriter(&csv)
	for ; now.Before(day(30)); now = now.Add(2 * time.Minute) {
		if err := w.Write(source.Read(context.Background())); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	date := func(n int) string { return day(n).Format(time.DateOnly) }
	return csv.String(), fmt.Sprintf("nest,bred,kindled,born,ended\noak,%s,,8,\nash,%s,%s,6,%s\nelm,%s,,,\n",
		date(-28), date(-35), date(-4), date(26), date(-21))
}

// A month replayed says the same bytes every time, in whatever order the rows of one instant and the columns come.
func TestReplayOfAMonthIsTheSameEveryTime(t *testing.T) {
	long(t)
	readings, litters := month(t)
	rows := slices.Collect(strings.Lines(readings))
	header, rows := strings.Split(strings.TrimSpace(rows[0]), ","), rows[1:]

	turned := append([]string{}, rows...) // the rows of each instant backwards
	for from := 0; from < len(turned); {
		to, at := from, turned[from][:strings.IndexByte(turned[from], ',')]
		for to < len(turned) && strings.HasPrefix(turned[to], at+",") {
			to++
		}
		slices.Reverse(turned[from:to])
		from = to
	}
	var moved strings.Builder // the columns backwards
	for _, row := range append([]string{strings.Join(header, ",")}, rows...) {
		cells := strings.Split(strings.TrimSpace(row), ",")
		slices.Reverse(cells)
		moved.WriteString(strings.Join(cells, ",") + "\n")
	}
	replayed := func(readings string) []byte {
		t.Helper()
		code, out, errs := replayWith(t, monthConfig, readings, litters)
		if code != exitDone {
			t.Fatalf("exit %d: %s", code, errs)
		}
		return []byte(out)
	}
	first := replayed(readings)
	for _, name := range []string{`"cluster-chill"`, `"kindled"`, `"visit"`, `"probe-silent"`, `"probe-fault"`, `"bedding-due"`} {
		if !bytes.Contains(first, []byte(name)) {
			t.Errorf("the month holds no %s", name)
		}
	}
	for name, again := range map[string]string{
		"again": readings, "rows of an instant turned round": strings.Join(header, ",") + "\n" + strings.Join(turned, ""), "columns turned round": moved.String(),
	} {
		if got := replayed(again); !bytes.Equal(got, first) {
			t.Errorf("%s: %d bytes of events, and they are not the %d of the first time", name, len(got), len(first))
		}
	}
}
