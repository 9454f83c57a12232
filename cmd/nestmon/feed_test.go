package main

import (
	"errors"
	"net/http"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/web"
	"nestmon/thresholds/book"
)

// ask is a command's wish for the calendar.
func (b *barn) ask(t *testing.T, asked feedRequest) feedAnswer {
	t.Helper()
	a, err := b.d.feedCommand(t.Context(), asked)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// at lets one poll come at a time.
func (b *barn) at(now time.Time) {
	now = now.Add(-stepOf)
	b.pace.now.Store(&now)
	b.poll(24, stepOf)
}

func property(text, event, name string) string {
	for _, e := range strings.Split(text, "BEGIN:VEVENT") {
		if strings.Contains(e, event) {
			_, value, _ := strings.Cut(e, "\r\n"+name)
			value, _, _ = strings.Cut(value, "\r\n")
			return value
		}
	}
	return ""
}

// There is no calendar until somebody wants one; then an overdue chore is on each day anew, also after a restart, and what cannot be stored
// does not count.
func TestCalendarOfChores(t *testing.T) {
	folder := barnFolder(t)
	b := newBarn(t, folder, demoStart)
	v, leave := b.visit(t)
	v.get("/calendar/"+strings.Repeat("x", 43)+".ics", http.StatusNotFound)
	v.get("/calendar/.ics", http.StatusNotFound)
	if _, _, err := b.d.calendar(t.Context(), exporter.NewSecret("")); !errors.Is(err, exporter.ErrLinkUnknown) {
		t.Errorf("no secret opens it while it is off: %v", err)
	}
	if a := b.ask(t, feedRequest{Do: feedOff}); a.Was || a.Secret != "" {
		t.Errorf("there was one: %+v", a)
	}
	first := b.ask(t, feedRequest{Do: feedAddress})
	path := "/calendar/" + first.Secret + ".ics"
	if again := b.ask(t, feedRequest{Do: feedAddress}); again.Secret != first.Secret || !again.Was || first.Was || !first.Daily {
		t.Errorf("%+v, then %+v", first, again)
	}
	// A phone keeps what it has rather than take an empty calendar.
	if said := v.get(path, http.StatusServiceUnavailable); !strings.Contains(said, "nothing has been measured yet") {
		t.Errorf("before the first poll: %s", said)
	}
	b.at(demoStart.Add(time.Hour))
	if _, _, err := b.d.Enter(t.Context(), []book.Entry{
		{What: book.Bred, Nest: "box-2", At: demoStart.AddDate(0, 0, -28)}, {What: book.Kindled, Nest: "box-3", At: demoStart.AddDate(0, 0, -2)},
	}); err != nil {
		t.Fatal(err)
	}
	const due = "SUMMARY:box-2: nest box due"
	text := v.get(path, http.StatusOK)
	uid, sequence := property(text, due, "UID:"), property(text, due, "SEQUENCE:")
	if property(text, due, "DTSTART;VALUE=DATE:") != "20310907" || property(text, due, "DTEND;VALUE=DATE:") != "20310909" || !strings.Contains(text, "look into the nests: box-3") {
		t.Fatalf("on day 28:\n%s", text)
	}
	without := false
	if a := b.ask(t, feedRequest{Do: feedAddress, Daily: &without}); a.Daily || a.Secret != first.Secret {
		t.Errorf("%+v", a)
	}
	if text := v.get(path, http.StatusOK); strings.Contains(text, "look into the nests") || property(text, due, "SEQUENCE:") != sequence {
		t.Errorf("without the daily ones:\n%s", text)
	}
	leave()
	b.stop()

	b = newBarn(t, folder, demoStart.AddDate(0, 0, 3))
	defer b.stop()
	b.at(demoStart.AddDate(0, 0, 3).Add(time.Hour))
	v, leave = b.visit(t)
	defer leave()
	later := "SUMMARY:box-2: nest box due (overdue since 9 Sep)"
	text = v.get(path, http.StatusOK)
	if property(text, later, "UID:") != uid || property(text, later, "SEQUENCE:") <= sequence || property(text, later, "DTSTART;VALUE=DATE:") != "20310911" || strings.Contains(text, "look into the nests") {
		t.Errorf("overdue, after a restart:\n%s", text)
	}
	if a := b.ask(t, feedRequest{Do: feedFile}); a.Text != text {
		t.Errorf("the file is another:\n%s", a.Text)
	}

	b.d.card.busy <- struct{}{} // a card that hangs
	if _, err := b.d.feedCommand(t.Context(), feedRequest{Do: feedNew}); err == nil || !strings.Contains(err.Error(), "stays as it was") {
		t.Errorf("an address that cannot be stored: %v", err)
	}
	v.get(path, http.StatusOK)
	next := demoStart.AddDate(0, 0, 4).Add(time.Hour)
	b.pace.now.Store(&next)
	if text := v.get(path, http.StatusOK); property(text, later, "DTSTART;VALUE=DATE:") != "20310912" || !b.d.feed.owed {
		t.Errorf("while the card hangs:\n%s", text)
	}
	<-b.d.card.busy
	v.get(path, http.StatusOK)
	if kept, err := b.d.archive.Meta(feedPast); err != nil || b.d.feed.owed || !strings.Contains(kept, "2031-09-12/2031-09-13") {
		t.Errorf("what was owed: %s, %v", kept, err)
	}
	if _, err := b.d.feedCommand(t.Context(), feedRequest{Do: "burn"}); err == nil || !strings.Contains(err.Error(), "address, new, off, file") {
		t.Errorf("%v", err)
	}
	if a := b.ask(t, feedRequest{Do: feedNew}); a.Secret == first.Secret || !a.Was {
		t.Errorf("%+v", a)
	}
	v.get(path, http.StatusNotFound)
	unset := time.Date(1970, time.January, 1, 0, 1, 0, 0, time.UTC)
	b.pace.now.Store(&unset)
	if _, err := b.d.feedCommand(t.Context(), feedRequest{Do: feedFile}); err == nil || !strings.Contains(err.Error(), "clock") {
		t.Errorf("in 1970: %v", err)
	}
}

func TestFeedPlace(t *testing.T) {
	for _, row := range []struct {
		page        *web.Config
		want, words string
	}{
		{&web.Config{Listen: "0.0.0.0:8380", Address: "https://nests.example/"}, "https://nests.example", ""},
		{&web.Config{Listen: "0.0.0.0:8380"}, "http://BOARD:8380", "In place of BOARD"},
		{&web.Config{Listen: ":8380"}, "http://BOARD:8380", "In place of BOARD"},
		{&web.Config{Listen: "[::]:8380"}, "http://BOARD:8380", "In place of BOARD"},
		{&web.Config{Listen: "192.168.1.20:8380"}, "http://192.168.1.20:8380", ""},
		{&web.Config{Listen: "[fd00::1]:8380"}, "http://[fd00::1]:8380", ""},
		{&web.Config{Listen: "127.0.0.1:8380"}, "http://127.0.0.1:8380", "Only this board"},
		{&web.Config{Listen: "localhost:8380"}, "http://localhost:8380", "Only this board"},
		{&web.Config{Listen: web.None}, "", ""},
		{nil, "", ""},
	} {
		at, words, err := feedPlace(&config{Publish: publishConfig{Page: row.page}})
		if at != row.want || !strings.HasPrefix(words, row.words) || (words == "") != (row.words == "") || (err != nil) != (row.want == "") {
			t.Errorf("%+v: %q %q %v", row.page, at, words, err)
		}
	}
}

func TestChoresFeedIsRefused(t *testing.T) {
	config := filepath.Join(t.TempDir(), "nestmon.yaml")
	plant(t, config, "probes: [{id: a, source: recorded}]\nnests: [{id: a1, kind: wooden-box, air: a}]\npublish: {page: {listen: \"127.0.0.1:8380\"}}\ncontrol: "+filepath.Join(t.TempDir(), "none")+"\n")
	for _, row := range []struct{ args, want string }{
		{"--new --off", "write one of --new, --off and --out"},
		{"--out", "flag needs an argument"},
		{"more", "not expected here"},
		{"", "no daemon answers"},
	} {
		var out, err strings.Builder
		args := append([]string{"chores", "feed", "--config", config}, strings.Fields(row.args)...)
		if code := run(t.Context(), args, stdio{nil, &out, &err}); code != exitWrongUse || !strings.Contains(err.String(), row.want) || out.Len() > 0 {
			t.Errorf("%s: %d %q %q", row.args, code, out.String(), err.String())
		}
	}
}
