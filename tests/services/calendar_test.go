package services_test

import (
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"nestmon/exporter/ical"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
	"nestmon/thresholds/nest"
)

// calendarEvent is an event as a library reads it.
type calendarEvent struct {
	UID, Summary, Description, From, Until string
	Whole                                  bool // its days are days
	After                                  *int // days since the date in its title, by Python
	Sequence                               int
	Stamp, Modified                        string
	Kinds                                  []string
	Rest                                   []any
}

type calendarFile struct {
	Name, Refresh string
	Events        []calendarEvent
}

// readCalendars lets python3-icalendar and python3-vobject read files, and fails where they do not read the same.
func readCalendars(t *testing.T, files ...string) (all []calendarFile) {
	t.Helper()
	script, err := os.ReadFile(binary(t, "icalendar")) // its first line names the Python that has it
	if err != nil {
		t.Fatal(err)
	}
	python, _, _ := strings.Cut(strings.TrimPrefix(string(script), "#!"), "\n")
	python = strings.TrimSpace(python)
	if err := exec.Command(python, "-c", "import vobject").Run(); err != nil {
		const missing = "python3-vobject is not installed, or for another Python than " // which has no program to look for
		if os.Getenv("NESTMON_REQUIRE_SERVICES") == "1" {
			t.Fatal(missing + python)
		}
		t.Skip("skipped: " + missing + python)
	}
	cmd := exec.Command(python, append([]string{"testdata/readcalendars.py"}, files...)...)
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("reading calendars: %v", err)
	}
	var read []map[string]calendarFile
	if err := json.Unmarshal(out, &read); err != nil {
		t.Fatal(err)
	}
	for i, by := range read {
		one, other := by["vobject"], by["icalendar"]
		for k := range other.Events {
			// Debian's icalendar 4.0.3 undoes what stands for a backslash twice (collective/icalendar, issue 1008).
			if e := &other.Events[k]; k < len(one.Events) && strings.Contains(one.Events[k].Description, `\`) {
				e.Summary, e.Description = one.Events[k].Summary, one.Events[k].Description
			}
		}
		if !reflect.DeepEqual(one, other) {
			t.Errorf("%s is read as\n%+v\nand as\n%+v", files[i], one, other)
		}
		all = append(all, one)
	}
	return all
}

func writeCalendar(t *testing.T, file string, c ical.Calendar, now time.Time, tasks []thresholds.Task) string {
	t.Helper()
	text, _, err := c.Write(now, tasks, &ical.Past{})
	if err != nil {
		t.Fatal(err)
	}
	return write(t, file, string(text))
}

// What people may call a nest or write into a text comes out as it went in, and lets nothing else in.
func TestCalendarTakesAnyName(t *testing.T) {
	t.Parallel()
	names := []string{
		"oak", "oak, left", "oak; right", `back\slash`, `ends in \`, `\n is no line`, `\\n \; \,`, `"quoted"`, "it's", "a:b", "A=B;C=D", "<b>bold</b>", "a  two blanks",
		"Blümchen", "Ñandú", "шиншилла", "兔子箱", "🐇🐇🐇", "👩‍🌾 box", "e\u0301 composed", "\u202Eright to left", "עברית", "^n caret ^^ ^'", "%0D%0A", "BEGIN:VEVENT", "END:VCALENDAR",
		strings.Repeat("long ", 40) + "end", strings.Repeat("x", 300), strings.Repeat("ü", 150), strings.Repeat("漢", 100), strings.Repeat("🐇", 75), strings.Repeat(`\`, 80), strings.Repeat(",;", 60),
	}
	for n := 60; n < 80; n++ { // each way to break a line within a character, and within what stands for one
		names = append(names, strings.Repeat("a", n)+"ü🐇,;\\"+strings.Repeat("b", n))
	}
	broken := map[string]string{
		"one\nEND:VEVENT": "one END:VEVENT", "one\r\nATTENDEE:x": "one ATTENDEE:x", "one\rX:y": "one X:y", "tab\there": "tab here", "bell\a, nul\x00, del\x7f": "bell , nul , del ",
		"no \xff\xfe UTF-8": "no \uFFFD UTF-8", "half \xe2\x82": "half \uFFFD", "next\u0085line": "next line", "line\u2028paragraph\u2029": "line paragraph ", "esc\x1b[31m": "esc [31m", "vt\vff\ffs\x1c": "vt ff fs ",
	}
	for _, name := range names {
		broken[name] = name
	}
	now := time.Date(2031, time.March, 10, 8, 0, 0, 0, time.UTC)
	var tasks []thresholds.Task
	var order []string
	for i, name := range slices.Sorted(maps.Keys(broken)) {
		tasks = append(tasks, thresholds.Task{
			Nest: name, Litter: int64(i + 1), Chore: alarm.TurnBoxDue, From: now.AddDate(0, 0, i%60), Text: name + "\nand " + name, Rule: name, Source: "nobody; really, none",
		})
		order = append(order, name)
	}
	c := ical.Calendar{Site: "barn", Name: `Barn, "east"; \ 兔`, Zone: time.UTC}
	read := readCalendars(t, writeCalendar(t, filepath.Join(t.TempDir(), "names.ics"), c, now, tasks))[0]
	if read.Name != c.Name || len(read.Events) != len(tasks) {
		t.Fatalf("the calendar %q has %d events, want %q and %d", read.Name, len(read.Events), c.Name, len(tasks))
	}
	found := map[string]calendarEvent{}
	for _, e := range read.Events {
		found[e.Summary] = e
		if fmt.Sprint(e.Rest) != "[CONFIRMED TRANSPARENT 0]" || !e.Whole || e.Stamp != "2031-03-10T08:00:00+00:00" || e.Modified != e.Stamp {
			t.Errorf("%q: %+v", e.Summary, e)
		}
	}
	for i, name := range order {
		want := broken[name]
		e, ok := found[want+": turn the box"]
		lines := strings.Split(e.Description, "\n")
		if !ok || e.From != tasks[i].From.Format(time.DateOnly) || !strings.Contains(strings.ReplaceAll(e.Description, "\n", " "), "Rule: "+want+".") || !strings.Contains(e.Description, "Source: nobody; really, none.") || len(lines) < 5 {
			t.Errorf("%q: %v %+v", name, ok, e)
		}
	}
}

// Every litter's dates against Python's own calendar, over a year's changes of the clocks, where some days have no midnight and some have two.
func TestCalendarDates(t *testing.T) {
	t.Parallel()
	days := litter.DefaultDays()
	wanted := map[string][]int{ // by what was entered, and the chore
		"b check-pregnancy-due": {days.Pregnancy.From}, "b box-due": {days.BoxIn.From}, "b kindling-overdue": {days.Overdue, days.Vet},
		"k turn-box-due": {days.TurnBox}, "k remove-box-due": {days.BoxOut.Mild}, "k wean-due": {days.Wean.From},
	}
	dir := t.TempDir()
	var files []string
	for _, zone := range []string{"America/Santiago", "America/Havana", "Australia/Lord_Howe"} {
		loc, err := time.LoadLocation(zone)
		if err != nil {
			t.Fatal(err)
		}
		for _, now := range []time.Time{time.Date(2031, time.March, 1, 7, 0, 0, 0, loc), time.Date(2031, time.August, 20, 23, 59, 0, 0, loc), time.Date(2031, time.October, 20, 0, 30, 0, 0, loc)} {
			files = append(files, writeCalendar(t, filepath.Join(dir, fmt.Sprintf("%d.ics", len(files))), ical.Calendar{Site: "barn", Name: zone, Zone: loc}, now, yearsTasks(t, loc, now)))
		}
	}
	seen := map[string][]int{}
	for _, f := range readCalendars(t, files...) {
		for _, e := range f.Events {
			kind := e.Summary[:1] + " " + e.Kinds[0]
			if want, known := wanted[kind]; !known || e.Kinds[1] != string(thresholds.Coming) {
				continue
			} else if e.After == nil || !slices.Contains(want, *e.After) {
				t.Errorf("%s: %+v, want %d days after", f.Name, e, want)
			} else if !slices.Contains(seen[kind], *e.After) {
				seen[kind] = append(seen[kind], *e.After)
			}
		}
	}
	for kind := range seen {
		slices.Sort(seen[kind])
	}
	if !reflect.DeepEqual(seen, wanted) {
		t.Errorf("seen %v, want %v", seen, wanted)
	}
}

// yearsTasks is the agenda of a rabbitry in which somebody bred or kindled on each of the last days; a nest's name says when.
func yearsTasks(t *testing.T, loc *time.Location, now time.Time) []thresholds.Task {
	t.Helper()
	cfg := thresholds.Config{Location: loc, Poll: time.Minute, Limits: brood.DefaultTables()}
	var book []litter.Litter
	for ago := 1; ago <= 26; ago += 3 {
		for i, what := range []string{"b", "k"} {
			day := litter.DateOf(now, loc).Add(-ago)
			at, _ := litter.ParseDate(day.String())
			l := litter.Litter{ID: int64(2*ago + i), Nest: what + "-" + day.String(), Bred: at.Noon(loc).Add(-11 * time.Hour)}
			if what == "k" {
				l.Bred, l.Kindled = at.Add(-31).Noon(loc), at.Noon(loc).Add(11*time.Hour+59*time.Minute)
			}
			cfg.Nests = append(cfg.Nests, nest.Config{ID: l.Nest, Kind: brood.WoodenBox})
			book = append(book, l)
		}
	}
	r, err := thresholds.New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	r.SetLitters(book, now)
	r.Observe(now, nil)
	return r.Agenda(now, now.AddDate(0, 0, ical.DaysAhead+1))
}

// subscription is a phone's.
type subscription struct {
	t             *testing.T
	address, etag string
}

// fetch asks as a phone does that has what it got before.
func (s *subscription) fetch(want int) (text string) {
	s.t.Helper()
	req, err := http.NewRequestWithContext(s.t.Context(), http.MethodGet, s.address, nil)
	if err != nil {
		s.t.Fatal(err)
	}
	if s.etag != "" {
		req.Header.Set("If-None-Match", s.etag)
	}
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		s.t.Fatal(err)
	}
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	if err != nil || resp.StatusCode != want {
		s.t.Fatalf("%d %s, %v; want %d", resp.StatusCode, body, err, want)
	}
	if tag := resp.Header.Get("ETag"); tag != "" {
		s.etag = tag
	}
	return string(body)
}

// events are what both libraries read in a text, by title.
func (s *subscription) events(text string) map[string]calendarEvent {
	s.t.Helper()
	all := map[string]calendarEvent{}
	for _, e := range readCalendars(s.t, write(s.t, filepath.Join(s.t.TempDir(), "fetched.ics"), text))[0].Events {
		all[e.Summary] = e
	}
	return all
}

// TestCalendarOfTheDaemon subscribes to the built program's chores, and does one.
func TestCalendarOfTheDaemon(t *testing.T) {
	t.Parallel()
	b, dir := newBoard(t), t.TempDir()
	page := fmt.Sprintf("127.0.0.1:%d", freePort(t))
	config := write(t, filepath.Join(dir, "nestmon.yaml"), fmt.Sprintf("site: {id: barn, name: Barn}\ndata: %s\n"+oak+"publish:\n  page: {listen: \"%s\"}\n", filepath.Join(dir, "data"), page))
	var said strings.Builder
	begin := func() *process {
		daemon := launch(t, built(t), "run", "--verbose", "--config", config, "--root", b.root)
		daemon.ready(t, answers("http://"+page+"/healthz"))
		return daemon
	}
	end := func(p *process) {
		p.end()
		said.WriteString(p.out.String())
	}
	run := func(args ...string) string {
		t.Helper()
		out, err := exec.Command(built(t), append(args, "--config", config)...).CombinedOutput()
		if err != nil {
			t.Fatalf("nestmon %v: %v\n%s", args, err, out)
		}
		return string(out)
	}
	address := func(args ...string) string {
		t.Helper()
		var a struct{ Address string }
		if err := json.Unmarshal([]byte(run(append([]string{"chores", "feed", "--json"}, args...)...)), &a); err != nil || (a.Address != "" && !strings.HasPrefix(a.Address, "http://"+page+"/calendar/")) {
			t.Fatalf("the address is %q, %v", a.Address, err)
		}
		return a.Address
	}
	daemon := begin()
	now := time.Now().UTC()
	run("litter", "bred", "--nest", "oak", "--on", now.AddDate(0, 0, -28).Format(time.DateOnly))
	phone := &subscription{t: t, address: address()}
	if help := run("chores", "feed"); !strings.Contains(help, phone.address) || !strings.Contains(help, "Only this board itself reaches") {
		t.Errorf("the help:\n%s", help)
	}
	first := phone.fetch(http.StatusOK)
	before := phone.events(first)
	box, ok := before["oak: nest box due"]
	overdue, found := before["oak: kindling overdue unless entered"]
	if !ok || !found || box.From != now.AddDate(0, 0, -1).Format(time.DateOnly) || box.Until != now.AddDate(0, 0, 1).Format(time.DateOnly) || overdue.From != now.AddDate(0, 0, 7).Format(time.DateOnly) {
		t.Fatalf("before: %+v", before)
	}
	if phone.fetch(http.StatusNotModified) != "" {
		t.Error("what did not change is sent")
	}
	file := filepath.Join(dir, "once.ics")
	if run("chores", "feed", "--out", file); first != read(t, file) {
		t.Errorf("the file is another:\n%s", read(t, file))
	}

	run("chores", "done", "--nest", "oak", "--event", "box-due")
	after := phone.events(phone.fetch(http.StatusOK))
	if e := after["done: oak: nest box due"]; e.UID != box.UID || e.Sequence <= box.Sequence || e.From != now.Format(time.DateOnly) {
		t.Errorf("done: %+v, was %+v", e, box)
	}
	if e := after["oak: kindling overdue unless entered"]; e.UID != overdue.UID || e.Sequence != overdue.Sequence || e.Stamp != overdue.Stamp {
		t.Errorf("what did not change: %+v, was %+v", e, overdue)
	}

	end(daemon)
	daemon = begin()
	if text := phone.fetch(http.StatusNotModified); text != "" {
		t.Errorf("after a restart:\n%s", text)
	}
	old := *phone
	old.etag = ""
	phone.address = address("--new")
	if help := run("chores", "feed"); phone.address == old.address || !strings.Contains(help, phone.address) {
		t.Error("the new address is the old one, or is not kept")
	}
	old.fetch(http.StatusNotFound)
	phone.fetch(http.StatusNotModified)
	daemon.kill() // what was said to be dead stays dead
	said.WriteString(daemon.out.String())
	daemon = begin()
	old.fetch(http.StatusNotFound)
	phone.fetch(http.StatusNotModified)
	if address("--off") != "" {
		t.Error("it is off, and has an address")
	}
	phone.fetch(http.StatusNotFound)
	state := fetch("http://" + page + "/api/state")
	end(daemon)
	for _, secret := range []string{phone.address, old.address} {
		secret = strings.TrimSuffix(filepath.Base(secret), ".ics")
		if len(secret) < 22 || strings.Contains(said.String()+state, secret) { // 128 bit in base64
			t.Errorf("the secret %q is short, logged or shown:\n%s", secret, said.String())
		}
	}
}

func read(t *testing.T, path string) string {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}
