package web_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"nestmon/dashboards"
	"nestmon/exporter"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
	"nestmon/thresholds/brood"
)

// desk is a litter book in memory, by the book's own rules.
type desk struct {
	mu   sync.Mutex
	book *book.Book
	fail error
}

func newDesk(nests int) *desk {
	rules := book.Rules{Location: time.UTC, Nests: map[string]brood.Kind{"a1": brood.WoodenBox, "1": brood.WoodenBox}}
	for n := range nests {
		rules.Nests[fmt.Sprintf("n%02d", n)] = brood.BuriedTote
	}
	return &desk{book: book.New(rules, nil)}
}

func (d *desk) Book() *book.Book {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.book
}

func (d *desk) Enter(_ context.Context, entries []book.Entry) (stored []book.Entry, doubts []string, err error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.fail != nil {
		return nil, nil, d.fail
	}
	for i := range entries {
		if entries[i], err = d.book.Place(entries[i]); err != nil {
			return nil, nil, &book.Refusal{Row: i, Why: err.Error()}
		}
	}
	more, stored, doubts, err := d.book.With(noon, entries...)
	if err == nil {
		d.book = more
	}
	return stored, doubts, err
}

func (d *desk) EnterOnce(ctx context.Context, _ exporter.Sending, of func(*book.Book) ([]book.Entry, error)) ([]book.Entry, []string, error) {
	entries, err := of(d.Book())
	if err != nil {
		return nil, nil, err
	}
	return d.Enter(ctx, entries)
}

func bookHouse(t *testing.T, nests int) (*house, *desk, string) {
	t.Helper()
	h, d := newHouse(t), newDesk(nests)
	h.Options.Book = d
	return h, d, h.login(t).Value
}

const aKey = "0123456789abcdef0123456789abcdef"

func send(rows string) string { return `{"key":"` + aKey + `","entries":[` + rows + `]}` }

// What is entered on the page stands in the book as it was meant, and is answered in words.
func TestEnteredOnThePage(t *testing.T) {
	h, d, c := bookHouse(t, 3)
	for _, row := range []struct {
		body string
		want []string
	}{
		{send(`{"what":"bred","nest":"a1","doe":"Hazel","on":"2031-06-01"}`), []string{`"said":"bred, doe Hazel"`, `"by":"page"`, `"doubts":[]`}},
		{`{"key":"` + aKey + `","by":"Anna's phone","entries":[{"what":"kindled","litter":"1","kits":"8","on":"2031-07-02T06:30"}]}`, []string{`"said":"kindled, 8 alive"`, `"by":"Anna's phone, page"`, `"at":"2031-07-02T06:30:00Z"`}},
		{send(`{"what":"did","chore":"inspect-due","nest":"a1","litter":"1","on":"2031-07-10T07:00"},{"what":"lost","litter":"1","kits":"2","cause":"chilled","on":"2031-07-10T07:00"}`), []string{`"id":3`, `"said":"2 lost, chilled"`}},
		{send(`{"replaces":"4","kits":"1"}`), []string{`"replaces":4`, `"said":"1 lost, chilled"`}},
		{send(`{"what":"weighed","litter":"1","kits":"1","grams":"9kg","on":"2031-07-11"}`), []string{`9000 g for one kit on 2031-07-11 is unusual`}},
		{send(`{"what":"struck","replaces":"6","note":"the scale"}`), []string{`"said":"entry 6 struck: the scale"`}},
	} {
		r := h.post("/api/book/enter", row.body, c)
		text := body(t, r)
		for _, want := range row.want {
			if r.StatusCode != http.StatusOK || !strings.Contains(text, want) {
				t.Errorf("%s: %d %s, want %s", row.body, r.StatusCode, text, want)
			}
		}
	}
	if n, _ := d.Book().Record(1).Alive(noon, time.UTC); n != 7 {
		t.Errorf("%d kits live", n)
	}
	for path, want := range map[string][]string{
		"/api/book":           {`"newest":7`, `"kits":1`, `"looked":"2031-07-10T07:00:00Z"`, `"steps":["lost","weighed","collected"`, `"older":0`, `"does":["Hazel"]`, `"report":"litter/1"`},
		"/api/book/litter/1":  {`"alive":7`, `"replaced_by":5`, `"lost":{"chilled":1}`, `"partners":[]`, `"row":{`},
		"/api/book/nest/a1":   {`"said":"inspect done"`, `"more":false`},
		"/api/book/doe/Hazel": {`"born":8`},
		"/api/agenda":         {`"tasks":[]`},
	} {
		r := get(h.Handler(), "GET", path)
		text := body(t, r)
		for _, w := range want {
			if r.StatusCode != http.StatusOK || !strings.Contains(text, w) {
				t.Errorf("%s: %d %s, want %s", path, r.StatusCode, text, w)
			}
		}
	}
}

func TestEntriesThatAreRefused(t *testing.T) {
	h, d, c := bookHouse(t, 3)
	h.post("/api/book/enter", send(`{"what":"kindled","nest":"n00","kits":"5","on":"2031-07-02"}`), c)
	lost := `{"what":"lost","nest":"n00","kits":"9","cause":"chilled","on":"2031-07-05"}`
	for _, tc := range []struct {
		name, body string
		status     int
		want       string
	}{
		{"no key", `{"entries":[` + lost + `]}`, 400, "128 random bits"},
		{"a short key", `{"key":"abc","entries":[` + lost + `]}`, 400, "128 random bits"},
		{"nothing", send(""), 400, "send 1 to 20"},
		{"too much", send(lost + strings.Repeat(","+lost, 20)), 400, "send 1 to 20"},
		{"a name too long", `{"key":"` + aKey + `","by":"` + strings.Repeat("x", 41) + `","entries":[` + lost + `]}`, 400, "longer than 40"},
		{"a name of two lines", `{"key":"` + aKey + `","by":"a\nb","entries":[` + lost + `]}`, 400, "control character"},
		{"no text", send(`{"what":"lost","kits":9}`), 400, "JSON object that is wanted"},
		{"more than there are", send(lost), 422, `only 5 of litter 1 were left; correct the count, the born or the lost","row":0,"field":"kits"`},
		{"the second of two", send(`{"what":"noted","nest":"n00","note":"calm","on":"2031-07-05"},{"what":"lost","nest":"n00","kits":"1","on":"2031-07-05"}`), 422, `"row":1,"field":"cause"`},
		{"another's number", send(`{"what":"noted","note":"x","by":"anna"}`), 422, `"field":"by"`},
		{"a column that is none", send(`{"what":"noted","note":"x","colour":"grey"}`), 422, `"field":"colour"`},
		{"a nest that holds none", send(`{"what":"lost","nest":"n01","kits":"1","cause":"chilled"}`), 422, `holds no open litter`},
		{"an entry that is none", send(`{"what":"struck","replaces":"99"}`), 422, `there is no entry 99`},
	} {
		r := h.post("/api/book/enter", tc.body, c)
		if text := body(t, r); r.StatusCode != tc.status || !strings.Contains(text, tc.want) {
			t.Errorf("%s: %d %s, want %d %s", tc.name, r.StatusCode, text, tc.status, tc.want)
		}
		if n := d.Book().Newest(); n != 1 {
			t.Fatalf("%s: %d entries", tc.name, n)
		}
	}
	if r := h.post("/api/book/enter", send(lost), ""); r.StatusCode != http.StatusUnauthorized {
		t.Errorf("without a login: %d", r.StatusCode)
	}
	d.fail = errors.New("nothing is saved: the card does not answer; look at the card")
	if r := h.post("/api/book/enter", send(`{"what":"noted","note":"x","nest":"n00"}`), c); r.StatusCode != http.StatusServiceUnavailable || r.Header.Get("Retry-After") == "" {
		t.Errorf("a card that does not answer: %d", r.StatusCode)
	}
	for path, want := range map[string]int{"/api/book/litter/9": 404, "/api/book/litter/x": 404, "/api/book/nest/zz": 404, "/api/book/doe/Nobody": 404, "/api/book?skip=x": 400, "/api/book?all=1": 400, "/api/agenda?days=61": 400} {
		if r := get(h.Handler(), "GET", path); r.StatusCode != want || !strings.HasPrefix(body(t, r), `{"error":"`) {
			t.Errorf("%s: %d", path, r.StatusCode)
		}
	}
	d.book = nil
	for _, path := range []string{"/api/book", "/api/book/nest/n00", "/api/agenda", "/api/broods"} {
		if r := get(h.Handler(), "GET", path); r.StatusCode != http.StatusServiceUnavailable || !strings.Contains(body(t, r), "cannot be read now") {
			t.Errorf("%s of a book that cannot be read: %d", path, r.StatusCode)
		}
	}
	h.Options.Book = nil
	for _, path := range []string{"/api/book", "/api/book/litter/1", "/api/book/nest/n00", "/api/book/doe/Hazel"} {
		if r := get(h.Handler(), "GET", path); r.StatusCode != http.StatusServiceUnavailable {
			t.Errorf("%s without a book: %d", path, r.StatusCode)
		}
	}
}

// Two years of thirty nests: what a phone gets first stays small, and the rest comes on asking.
func TestALargeBookIsShownInParts(t *testing.T) {
	const nests, rounds = 30, 12
	h, d, _ := bookHouse(t, nests)
	six := 6
	var all []book.Entry
	for round := range rounds {
		for n := range nests {
			id, at := int64(round*nests+n+1), noon.AddDate(0, 0, -60*(rounds-round))
			nest := fmt.Sprintf("n%02d", n)
			all = append(all, book.Entry{Litter: id, What: book.Bred, Nest: nest, Doe: fmt.Sprintf("Doe %d", n), At: at},
				book.Entry{Litter: id, What: book.Kindled, Nest: nest, Kits: &six, At: at.AddDate(0, 0, 31)})
			if round < rounds-1 {
				all = append(all, book.Entry{Litter: id, What: book.Ended, At: at.AddDate(0, 0, 59)})
			}
		}
	}
	if _, _, err := d.Enter(t.Context(), all); err != nil {
		t.Fatal(err)
	}
	const most = 24 << 10 // bytes, of which compression leaves a tenth
	var first struct {
		Litters []struct{ Litter int64 }
		Older   int
	}
	text := body(t, get(h.Handler(), "GET", "/api/book"))
	if err := json.Unmarshal([]byte(text), &first); err != nil || len(first.Litters) != nests+10 || first.Older != nests*(rounds-1)-10 || len(text) > most {
		t.Errorf("%d litters and %d older in %d bytes, %v", len(first.Litters), first.Older, len(text), err)
	}
	seen := map[int64]bool{}
	for _, l := range first.Litters {
		seen[l.Litter] = true
	}
	for skip, left := 10, first.Older; left > 0; skip += 50 {
		first.Litters = nil
		if err := json.Unmarshal([]byte(body(t, get(h.Handler(), "GET", fmt.Sprintf("/api/book?skip=%d", skip)))), &first); err != nil || len(first.Litters) == 0 {
			t.Fatalf("from %d: %d litters, %v", skip, len(first.Litters), err)
		}
		for _, l := range first.Litters {
			seen[l.Litter] = true
		}
		left = first.Older
	}
	if len(seen) != nests*rounds {
		t.Errorf("%d of %d litters can be reached", len(seen), nests*rounds)
	}
}

// The agenda is the daemon's, in its order; what is far ahead is left out, and what was done names the entry that shows it.
func TestAgendaOnThePage(t *testing.T) {
	h, d, _ := bookHouse(t, 0)
	if _, _, err := d.Enter(t.Context(), []book.Entry{{What: book.Did, Nest: "a1", Chore: alarm.BeddingDue, At: noon.Add(-time.Hour)}}); err != nil {
		t.Fatal(err)
	}
	st := state()
	st.Agenda = []thresholds.Task{
		{Nest: "a1", Litter: 3, Chore: alarm.InspectDue, From: noon.Add(-24 * time.Hour), Late: noon.Add(-time.Hour), Text: "look", Rule: "daily", Source: "ours"},
		{Chore: alarm.SeasonSetupDue, From: noon.Add(48 * time.Hour), Text: "straw"},
		{Nest: "a1", Chore: alarm.WeanDue, From: noon.Add(40 * 24 * time.Hour)},
		{Nest: "a1", Chore: alarm.BeddingDue, From: noon.Add(-2 * time.Hour), Done: noon.Add(-time.Hour)},
	}
	if err := h.Publish(t.Context(), st); err != nil {
		t.Fatal(err)
	}
	text := body(t, get(h.Handler(), "GET", "/api/agenda"))
	for _, want := range []string{`"event":"inspect-due","state":"overdue"`, `"litter":3`, `"rule":"daily","source":"ours"`, `"nest":null,"litter":null,"event":"season-setup-due","state":"coming"`, `"entry":1`} {
		if !strings.Contains(text, want) || strings.Contains(text, "wean-due") {
			t.Errorf("%s, want %s", text, want)
		}
	}
	if text := body(t, get(h.Handler(), "GET", "/api/agenda?days=60")); !strings.Contains(text, "wean-due") {
		t.Error("what is far ahead cannot be had")
	}
}

// The forms are the book's own, and the page has words for all of them.
func TestFormsAndTheirWords(t *testing.T) {
	h, _, _ := bookHouse(t, 0)
	var forms struct {
		Whats []struct {
			What      book.What
			Must, May []book.Field
		}
		Fields map[book.Field]struct{ Choices []string }
		Shows  map[alarm.Name]book.What
	}
	if err := json.Unmarshal([]byte(body(t, get(h.Handler(), "GET", "/api/book/forms"))), &forms); err != nil {
		t.Fatal(err)
	}
	catalogue, err := fs.ReadFile(dashboards.Page(), "texts.js")
	if err != nil {
		t.Fatal(err)
	}
	_, said, _ := strings.Cut(string(catalogue), "// Room: book")
	said, _, _ = strings.Cut(said, "// Room: alarms")
	worded := func(in, name string) {
		if in == "" {
			in = string(catalogue)
		}
		if !regexp.MustCompile(`[{,\s]"?` + regexp.QuoteMeta(name) + `"?: `).MatchString(in) {
			t.Errorf("texts.js has no words for %q", name)
		}
	}
	if len(forms.Whats) != len(book.Whats) || len(forms.Fields) != len(book.Columns) || forms.Shows[alarm.BoxDue] != book.BoxIn || forms.Shows[alarm.ConfirmKindlingDue] != book.Kindled {
		t.Errorf("%+v", forms)
	}
	for _, f := range forms.Whats {
		if want := book.Forms[f.What]; !slices.Equal(f.Must, want.Must) || !slices.Equal(f.May, want.May) {
			t.Errorf("%s: %+v", f.What, f)
		}
		worded(said, string(f.What))
	}
	for name, f := range forms.Fields {
		worded(said, string(name))
		for _, choice := range f.Choices {
			worded("", choice)
		}
	}
}
