package web_test

import (
	"compress/gzip"
	"encoding/json"
	"fmt"
	"net/http/httptest"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/web"
	"nestmon/thresholds/alarm"
	litters "nestmon/thresholds/book"
	"nestmon/thresholds/brood"
)

// told is what /api/nest answers, as far as these tests look.
type told struct {
	From, To time.Time
	Step     float64 `json:"step_s"`
	Starts   []int64
	First    *time.Time
	Fine     *time.Time `json:"fine_from"`
	Lines    []struct {
		Role, Probe, Quantity, Unit string
		Gap                         float64 `json:"gap_s"`
		Runs, Mean, Low, High       []int
	}
	Limits []struct {
		From, To    time.Time
		Litter      int64
		Day         *int
		ClusterCold *float64 `json:"cluster_cold_c"`
		AirHot      *float64 `json:"air_hot_c"`
	}
	LimitsLeft int `json:"limits_left"`
	Marks      []struct {
		At    time.Time
		Until *time.Time
		On    bool
		Kind  string
		Event string
		What  string
		Text  string
		Value *float64
	}
	Left struct {
		Kinds  map[string]int
		Unread int
	} `json:"marks_left"`
}

func nestOf(t *testing.T, s *web.Server, query string) (v told) {
	t.Helper()
	text := body(t, get(s.Handler(), "GET", "/api/nest?nest=a1"+query))
	if err := json.Unmarshal([]byte(text), &v); err != nil {
		t.Fatalf("%v in %s", err, text)
	}
	return v
}

func span(from, to time.Time) string {
	return "&from=" + url.QueryEscape(from.Format(time.RFC3339)) + "&to=" + url.QueryEscape(to.Format(time.RFC3339))
}

func TestNestLines(t *testing.T) {
	s := server(t)
	publish(t, s)
	v := nestOf(t, s, "&buckets=4"+span(noon.Add(-4*time.Hour), noon))
	if !v.From.Equal(noon.Add(-4*time.Hour)) || !v.To.Equal(noon) || v.Step != 3600 || len(v.Starts) != 0 || !v.First.Equal(noon.AddDate(-2, 0, 0)) || !v.Fine.Equal(noon.AddDate(0, -3, 0)) {
		t.Errorf("%+v", v)
	}
	// The probe of the cluster is none of the site's.
	if len(v.Lines) != 2 || v.Lines[0].Role != "air" || v.Lines[0].Unit != "C" || v.Lines[0].Gap != 3690 || v.Lines[1].Quantity != "humidity" || len(v.Lines[1].Mean) != 0 {
		t.Fatalf("%+v", v.Lines)
	}
	l := v.Lines[0]
	if !slices.Equal(l.Runs, []int{0, 1, 2, 2}) || !slices.Equal(l.Mean, []int{3050, 3050, 3050}) || !slices.Equal(l.Low, []int{51, 51, 51}) || !slices.Equal(l.High, []int{50, 50, 50}) {
		t.Errorf("%+v", l)
	}
}

// Buckets stay where they are while a graph is moved, and are no finer than what is kept.
func TestNestBuckets(t *testing.T) {
	s := server(t)
	publish(t, s)
	for _, row := range []struct {
		name    string
		from    time.Time
		length  time.Duration
		buckets int
		step    time.Duration
		first   time.Time
	}{
		{"an hour", noon.Add(-time.Hour), time.Hour, 300, 15 * time.Second, noon.Add(-time.Hour)},
		{"moved by a little", noon.Add(-time.Hour - 7*time.Second), time.Hour, 300, 15 * time.Second, noon.Add(-time.Hour - 15*time.Second)},
		{"a week", noon.AddDate(0, 0, -7), 7 * 24 * time.Hour, 300, time.Hour, noon.AddDate(0, 0, -7)},
		{"a day of long ago", noon.AddDate(-1, 0, 0), 24 * time.Hour, 300, time.Hour, noon.AddDate(-1, 0, 0)},
		{"two years are whole days of UTC", noon.AddDate(-2, 0, 0), 731 * 24 * time.Hour, 300, 72 * time.Hour, time.Date(2029, 7, 17, 0, 0, 0, 0, time.UTC)},
	} {
		v := nestOf(t, s, fmt.Sprintf("&buckets=%d", row.buckets)+span(row.from, row.from.Add(row.length)))
		if v.Step != row.step.Seconds() || !v.From.Equal(row.first) || v.To.Before(row.from.Add(row.length)) || len(v.Lines[0].Mean) > row.buckets+1 {
			t.Errorf("%s: step %v, from %s to %s, %d values", row.name, v.Step, v.From, v.To, len(v.Lines[0].Mean))
		}
	}
}

// Rows are local days, also where one has 23 hours.
func TestNestRows(t *testing.T) {
	place := site()
	var err error
	if place.Zone, err = time.LoadLocation("America/Denver"); err != nil {
		t.Fatal(err)
	}
	s := web.New(web.DefaultConfig(), place, history(), quiet())
	publish(t, s)
	local := func(d, h int) time.Time { return time.Date(2031, 3, d, h, 0, 0, 0, place.Zone) }
	v := nestOf(t, s, "&marks=0&by=day"+span(local(8, 9), local(11, 9)))
	if want := []int64{local(8, 0).Unix(), local(9, 0).Unix(), local(10, 0).Unix(), local(11, 0).Unix()}; !slices.Equal(v.Starts, want) || v.Step != 0 || !v.To.Equal(local(12, 0)) {
		t.Errorf("days begin at %v, want %v", v.Starts, want)
	}
	v = nestOf(t, s, "&marks=0&by=week"+span(local(5, 9), local(11, 9))) // March 3 is a Monday
	if want := []int64{local(3, 0).Unix(), local(10, 0).Unix()}; !slices.Equal(v.Starts, want) {
		t.Errorf("weeks begin at %v, want %v", v.Starts, want)
	}
}

func TestNestLimitsAndMarks(t *testing.T) {
	kits := 7
	day := func(d int) time.Time { return time.Date(2031, 7, d, 0, 0, 0, 0, time.UTC) }
	one := 1
	b, _, _, err := litters.New(litters.Rules{Location: time.UTC, Nests: map[string]brood.Kind{"a1": brood.WoodenBox}}, nil).With(noon,
		litters.Entry{What: litters.Kindled, Litter: 1, Nest: "a1", At: day(10), Day: true, Kits: &kits, Doe: "Hazel"},
		litters.Entry{What: litters.Lost, Litter: 1, At: day(12), Day: true, Kits: &one, Cause: litters.Chilled})
	if err != nil {
		t.Fatal(err)
	}
	h := history()
	var asked string
	h.Weightiest = func(nests []string, from, to time.Time, most int) ([]alarm.Event, int, error) {
		asked = fmt.Sprint(nests, from.Format(time.DateOnly), to.Format(time.DateOnly))
		var all []alarm.Event
		for i := range 150 {
			at := day(9).Add(time.Duration(i) * time.Hour)
			all = append(all, alarm.Event{Nest: "a1", Name: alarm.Visit, State: alarm.Noted, Severity: alarm.Notice, Since: at, Time: at})
		}
		return all, 200, nil
	}
	h.Ends = func(nests []string, from time.Time) ([]alarm.Event, error) {
		over := alarm.Event{Nest: "a1", Name: alarm.DoeHeat, State: alarm.Cleared, Severity: alarm.Warning, Since: day(1), Time: from.AddDate(0, 0, 5)}
		later := over
		later.Name, later.Since = alarm.NestHeat, from
		return []alarm.Event{over, later}, nil
	}
	s := web.New(web.DefaultConfig(), site(), h, quiet())
	tables := brood.Overrides{Cluster: []brood.ClusterRow{{From: new(int), To: &kits, ChillWarn: ptr(33.5)}}}.Tables()
	s.Options = web.Options{Book: onlyRead{book: b}, Tables: func() brood.Tables { return tables }}
	publish(t, s)
	v := nestOf(t, s, "&marks=20"+span(day(9), day(19)))
	// By hand: none before the birth; 33.5 as configured up to day 7, which ends on July 18, the air's cold limit being lower from day 4 on; then 29 as shipped.
	var got []string
	for _, l := range v.Limits {
		got = append(got, fmt.Sprintf("%s %d %s %g", l.From.Format(time.DateOnly), l.Litter, mayBe(l.ClusterCold), *l.AirHot))
	}
	if want := []string{"2031-07-09 0 - 30", "2031-07-10 1 33.5 30", "2031-07-14 1 33.5 30", "2031-07-18 1 29 29"}; !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
	if asked != "[a1 ]2031-07-072031-07-19" {
		t.Errorf("asked for %s", asked)
	}
	if len(v.Marks) != 20 || v.Left.Unread != 50 || v.Left.Kinds["visit"] != 133 {
		t.Errorf("%d marks, left %+v", len(v.Marks), v.Left)
	}
	if m := v.Marks[0]; m.Event != "doe-heat" || m.Kind != "warning" || !m.At.Equal(day(1)) || m.Until == nil || !m.Until.Equal(day(24)) || m.On {
		t.Errorf("an alarm that stood over the whole span: %+v", m)
	}
	if v.Marks[1].What != "kindled" || v.Marks[1].Kind != "birth" || v.Marks[1].Text != "kindled, 7 alive, doe Hazel" {
		t.Errorf("%+v", v.Marks[1])
	}
	for _, m := range v.Marks {
		if m.Event == "nest-heat" {
			t.Error("an alarm of after the span is among the marks")
		}
	}
	if text := body(t, get(s.Handler(), "GET", "/api/broods")); !strings.Contains(text, `"litter":1,"doe":"Hazel","born":7,"kindled":"2031-07-10T00:00:00Z","day_zero":"2031-07-10T00:00:00Z","ended":null,"stays":[{"nest":"a1","from":"2031-07-10T00:00:00Z","until":null}]`) {
		t.Error(text)
	}
}

// onlyRead is a litter book that is only read.
type onlyRead struct {
	exporter.Bookkeeper
	book *litters.Book
}

func (s onlyRead) Book() *litters.Book { return s.book }

func ptr(v float64) *float64 { return &v }

func mayBe(v *float64) string {
	if v == nil {
		return "-"
	}
	return fmt.Sprint(*v)
}

// What no screen could show is left out, and said.
func TestNestIsBounded(t *testing.T) {
	var entries []litters.Entry
	for i := range 60 {
		kits := 5
		at := noon.AddDate(0, 0, -40*(61-i))
		entries = append(entries, litters.Entry{What: litters.Kindled, Litter: int64(i + 1), Nest: "a1", At: at, Kits: &kits}, litters.Entry{What: litters.Weaned, Litter: int64(i + 1), At: at.AddDate(0, 0, 36), Kits: &kits})
	}
	b, _, _, err := litters.New(litters.Rules{Location: time.UTC, Nests: map[string]brood.Kind{"a1": brood.WoodenBox}}, nil).With(noon, entries...)
	if err != nil {
		t.Fatal(err)
	}
	s := web.New(web.DefaultConfig(), site(), history(), quiet())
	s.Options = web.Options{Book: onlyRead{book: b}}
	publish(t, s)
	if v := nestOf(t, s, "&buckets=2000"+span(noon.AddDate(-7, 0, 0), noon)); len(v.Limits) != 0 || v.LimitsLeft < 400 || len(v.Marks) != 100 || v.Left.Kinds["litter"] == 0 {
		t.Errorf("%d bands, %d left; %d marks, left %v", len(v.Limits), v.LimitsLeft, len(v.Marks), v.Left)
	}
	if v := nestOf(t, s, span(noon.AddDate(-1, 0, 0), noon)); len(v.Limits) < 50 || v.LimitsLeft != 0 {
		t.Errorf("%d bands of a year", len(v.Limits))
	}
}

func TestNestIsZipped(t *testing.T) {
	s := server(t)
	publish(t, s)
	r := httptest.NewRequest("GET", here+"/api/nest?nest=a1", nil)
	plain := httptest.NewRecorder()
	s.Handler().ServeHTTP(plain, r)
	r.Header.Set("Accept-Encoding", "gzip")
	w := httptest.NewRecorder()
	s.Handler().ServeHTTP(w, r)
	if w.Header().Get("Content-Encoding") != "gzip" || w.Header().Get("Vary") != "Accept-Encoding" || plain.Header().Get("Content-Encoding") != "" {
		t.Fatalf("%v, %v", w.Header(), plain.Header())
	}
	zr, err := gzip.NewReader(w.Body)
	if err != nil {
		t.Fatal(err)
	}
	var v told
	if err := json.NewDecoder(zr).Decode(&v); err != nil || len(v.Lines) != 2 {
		t.Errorf("%v, %+v", err, v)
	}
}
