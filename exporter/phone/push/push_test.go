package push_test

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/sinktest"
	"nestmon/thresholds/alarm"
)

const secretPath = "/wp/Zk3-very-secret"

func TestConformance(t *testing.T) {
	sinktest.MessageSink(t, func(t *testing.T) sinktest.MessageRig {
		f := newFar(t)
		c := open(t, options(f, newStore()))
		subscribe(t, c, f.subscription("Ada", secretPath))
		return sinktest.MessageRig{
			Sink: c,
			Far: sinktest.Far{ // nothing is refused for good
				Can:    []sinktest.Conduct{sinktest.Fails, sinktest.Slow, sinktest.Hangs, sinktest.Absent},
				Set:    func(c sinktest.Conduct) { f.set(func() { f.conduct = c }) },
				Secret: secretPath,
			},
			Key: func(m exporter.Message) string { return m.ID },
			Got: func() (ids []string) {
				for _, c := range f.calls(false) {
					ids = append(ids, c.said.ID)
				}
				return ids
			},
		}
	})
}

func TestWhatAPhoneIsTold(t *testing.T) {
	f := newFar(t)
	c := open(t, options(f, newStore()))
	subscribe(t, c, f.subscription("Ada", "/a"))
	event := func(state alarm.State, severity alarm.Severity) func(*exporter.Message) {
		return func(m *exporter.Message) { m.Event.State, m.Event.Severity = state, severity }
	}
	kind := func(k exporter.Kind) func(*exporter.Message) {
		return func(m *exporter.Message) { m.Kind, m.Event = k, alarm.Event{} }
	}
	rows := []struct {
		name               string
		change             func(*exporter.Message)
		ttl, urgency, tag  string
		staysOn, soundsOut bool
	}{
		{"urgent", nil, "43200", "high", "a1-nest-heat", true, true},
		{"again", func(m *exporter.Message) { m.Kind = exporter.Repeat }, "43200", "high", "a1-nest-heat", true, true},
		{"warning", event(alarm.Raised, alarm.Warning), "86400", "high", "a1-nest-heat", false, true},
		{"notice", event(alarm.Raised, alarm.Notice), "86400", "normal", "a1-nest-heat", false, true},
		{"over", event(alarm.Cleared, alarm.Urgent), "86400", "normal", "a1-nest-heat", false, false},
		{"storm", func(m *exporter.Message) { m.Kind = exporter.Storm }, "43200", "high", "storm", true, true},
		{"digest", func(m *exporter.Message) { m.Kind, m.Event = exporter.Digest, alarm.Event{Severity: alarm.Notice} }, "86400", "low", "digest", false, false},
		{"all well", kind(exporter.AllWell), "86400", "low", "all-well", false, false},
		{"test", kind(exporter.Trial), "300", "high", "test", false, true},
	}
	topics := map[string]string{}
	for _, row := range rows {
		m := hot(row.name, row.change)
		if err := c.Send(t.Context(), m); err != nil {
			t.Fatalf("%s: %v", row.name, err)
		}
		all := f.calls(false)
		got := all[len(all)-1]
		want := said{m.ID, m.Title, m.Body, row.tag, m.Link, row.staysOn, row.soundsOut}
		if got.said != want || got.header.Get("TTL") != row.ttl || got.header.Get("Urgency") != row.urgency {
			t.Errorf("%s: TTL %s, urgency %s, %+v\nwant %s, %s, %+v", row.name, got.header.Get("TTL"), got.header.Get("Urgency"), got.said, row.ttl, row.urgency, want)
		}
		topic := got.header.Get("Topic")
		if !regexp.MustCompile(`^[A-Za-z0-9_-]{1,32}$`).MatchString(topic) || strings.Contains(topic, "nest") {
			t.Errorf("%s: topic %q", row.name, topic)
		}
		if had, ok := topics[row.tag]; ok != (had == topic) {
			t.Errorf("%s: topic %q, before %q: the same replaces, another does not", row.name, topic, had)
		}
		topics[row.tag] = topic
		if got.bytes > 4096 || got.header.Get("Content-Encoding") != "aes128gcm" {
			t.Errorf("%s: %d bytes as %q", row.name, got.bytes, got.header.Get("Content-Encoding"))
		}
	}
}

func TestALongMessageIsCutAndNeverDropped(t *testing.T) {
	f := newFar(t)
	c := open(t, options(f, newStore()))
	subscribe(t, c, f.subscription("Ada", "/a"))
	long := strings.Repeat("Schatten für das Nest \"a1\" <&>. ", 400)
	for _, most := range []int{0, 2500, 1500} {
		f.set(func() { f.most, f.got = most, nil })
		if err := c.Send(t.Context(), hot(fmt.Sprint(most), func(m *exporter.Message) { m.Body = long })); err != nil {
			t.Fatal(err)
		}
		got := f.calls(false)[0]
		if body, whole := strings.CutSuffix(got.said.Body, "…"); !whole || !strings.HasPrefix(long, body) || len(body) < 400 || got.said.Title == "" || (most > 0 && got.bytes > most) {
			t.Errorf("at most %d bytes: %d arrived, %q: %q", most, got.bytes, got.said.Title, got.said.Body)
		}
	}
	f.set(func() { f.most = 100 })
	if err := c.Send(t.Context(), hot("tiny", nil)); err == nil || exporter.IsPermanent(err) || !exporter.IsMisconfigured(err) {
		t.Errorf("got %v, want it kept", err)
	}
}

func TestAnswers(t *testing.T) {
	rows := []struct {
		status      int
		delivered   bool
		wrong, gone bool
	}{
		{200, true, false, false},
		{201, true, false, false},
		{204, true, false, false},
		{307, false, true, false},
		{400, false, true, false},
		{401, false, true, false},
		{403, false, true, false},
		{404, false, true, true},
		{410, false, true, true},
		{422, false, true, false},
		{429, false, false, false},
		{500, false, false, false},
		{503, false, false, false},
	}
	for _, row := range rows {
		t.Run(http.StatusText(row.status), func(t *testing.T) {
			f := newFar(t)
			c := open(t, options(f, newStore()))
			s := f.subscription("Ada", secretPath)
			subscribe(t, c, s)
			f.answer(secretPath, row.status)
			err := c.Send(t.Context(), hot("m", nil))
			assertNoSecret(t, err, f, s)
			if (err == nil) != row.delivered || exporter.IsMisconfigured(err) != row.wrong || exporter.IsPermanent(err) {
				t.Errorf("got %v", err)
			}
			if row.gone != (err != nil && strings.Contains(err.Error(), `the phone "Ada" is no longer subscribed`)) {
				t.Errorf("got %v, gone is %v", err, row.gone)
			}
			if n := len(f.calls(true)); n != 1 {
				t.Errorf("%d requests", n)
			}
		})
	}
}

func assertNoSecret(t *testing.T, err error, f *far, s exporter.Subscription) {
	t.Helper()
	if err == nil {
		return
	}
	for _, secret := range []string{s.Endpoint.Reveal(), s.Auth.Reveal(), "Zk3", strings.TrimPrefix(f.URL, "https://"), "tk-1234"} {
		if strings.Contains(fmt.Sprintf("%v %+v %#v", err, err, err), secret) {
			t.Errorf("%v shows %q", err, secret)
		}
	}
}

// One phone that is gone is told of until it is back, and the message counts as delivered when another has it.
func TestAPhoneThatIsGone(t *testing.T) {
	f, kept := newFar(t), newStore()
	c := open(t, options(f, kept))
	if err := c.Complaint(); !exporter.IsMisconfigured(err) || !strings.Contains(err.Error(), "nobody has signed up") {
		t.Errorf("without a phone: %v", err)
	}
	if err := c.Send(t.Context(), hot("m0", nil)); !exporter.IsMisconfigured(err) || !strings.Contains(err.Error(), "nobody has signed up") {
		t.Errorf("without a phone: %v", err)
	}
	subscribe(t, c, f.subscription("Ada", "/a"), f.subscription("Bo", "/b"))
	if err := c.Complaint(); err != nil {
		t.Error(err)
	}
	f.answer("/b", http.StatusGone)
	if err := c.Send(t.Context(), hot("m1", nil)); err != nil {
		t.Errorf("Ada has it: %v", err)
	}
	c = open(t, options(f, kept)) // a restart
	if err := c.Complaint(); !exporter.IsMisconfigured(err) || !strings.Contains(err.Error(), `the phone "Bo" is no longer subscribed: open the page there and sign up again`) {
		t.Errorf("complaint: %v", err)
	}
	if err := c.Send(t.Context(), hot("m2", nil)); err != nil {
		t.Error(err)
	}
	if got := f.calls(true); len(got) != 3 || got[2].path != "/a" {
		t.Errorf("%d requests: Bo is called again", len(got))
	}
	if all, err := c.List(); err != nil || len(all) != 2 || all[0].Label != "Ada" || all[0].LastOK.IsZero() || all[1].Label != "Bo" || all[1].Gone.IsZero() {
		t.Errorf("%+v, %v", all, err)
	}
	subscribe(t, c, f.subscription("bo", "/b2"))
	if err := c.Complaint(); err != nil {
		t.Errorf("Bo is back: %v", err)
	}
	f.answer("/a", http.StatusNotFound)
	f.answer("/b2", http.StatusNotFound)
	if err := c.Send(t.Context(), hot("m3", nil)); !exporter.IsMisconfigured(err) {
		t.Errorf("nobody has it, and it counts as delivered: %v", err)
	}
	all, _ := c.List()
	for _, p := range all {
		if err := c.Unsubscribe(exporter.NewSecret(p.ID)); err != nil {
			t.Error(err)
		}
	}
	if err := c.Complaint(); err == nil || !strings.Contains(err.Error(), "nobody has signed up") {
		t.Errorf("all were taken off: %v", err)
	}
}

// What one phone has is not sent to it again while another does not answer, whatever happens in between.
func TestOnlyThoseAreTriedAgainThatDoNotHaveIt(t *testing.T) {
	f, kept := newFar(t), newStore()
	c := open(t, options(f, kept))
	subscribe(t, c, f.subscription("Ada", "/a"), f.subscription("Bo", "/b"))
	f.answer("/b", http.StatusServiceUnavailable)
	for range 3 {
		if err := c.Send(t.Context(), hot("m", nil)); err == nil || exporter.IsMisconfigured(err) || !strings.Contains(err.Error(), `"Bo": its push service answered 503`) {
			t.Fatalf("got %v", err)
		}
	}
	c = open(t, options(f, kept))
	f.answer("/b", http.StatusCreated)
	if err := c.Send(t.Context(), hot("m", nil)); err != nil {
		t.Fatal(err)
	}
	var paths []string
	for _, call := range f.calls(true) {
		paths = append(paths, call.path)
	}
	slices.Sort(paths)
	if want := []string{"/a", "/b", "/b", "/b", "/b"}; !slices.Equal(paths, want) {
		t.Errorf("called %v, want %v", paths, want)
	}
	if err := c.Send(t.Context(), hot("m", nil)); err != nil || len(f.calls(true)) != 7 {
		t.Errorf("%v, %d requests: a message that is done is forgotten", err, len(f.calls(true)))
	}
}

// Who asks for patience is left alone, and the others are called all the same.
func TestPatience(t *testing.T) {
	f := newFar(t)
	o, now := options(f, newStore()), time.Date(2026, 7, 14, 14, 5, 0, 0, time.UTC)
	o.Now = func() time.Time { return now }
	c := open(t, o)
	subscribe(t, c, f.subscription("Ada", "/a"), f.subscription("Bo", "/b"))
	f.answer("/b", http.StatusTooManyRequests)
	f.set(func() { f.wait = "120" })
	count := func(path string) (n int) {
		for _, call := range f.calls(true) {
			if call.path == path {
				n++
			}
		}
		return n
	}
	for i := range 3 {
		if err := c.Send(t.Context(), hot(fmt.Sprint(i), nil)); err == nil || !strings.Contains(err.Error(), "429") {
			t.Errorf("got %v", err)
		}
	}
	if count("/a") != 3 || count("/b") != 1 {
		t.Errorf("Ada was called %d times, Bo %d; want 3 and 1", count("/a"), count("/b"))
	}
	now = now.Add(121 * time.Second)
	_ = c.Send(t.Context(), hot("0", nil))
	if count("/b") != 2 {
		t.Errorf("Bo was called %d times after the wait, want 2", count("/b"))
	}
}

func TestOneTokenServesForHours(t *testing.T) {
	f := newFar(t)
	o, now := options(f, newStore()), time.Now()
	o.Now = func() time.Time { return now }
	c := open(t, o)
	subscribe(t, c, f.subscription("Ada", "/a"))
	send := func(id string) string {
		_ = c.Send(t.Context(), hot(id, nil))
		all := f.calls(true)
		return all[len(all)-1].header.Get("Authorization")
	}
	first := send("1")
	now = now.Add(5 * time.Hour)
	if send("2") != first {
		t.Error("a new token after 5 h")
	}
	now = now.Add(2 * time.Hour)
	second := send("3")
	if second == first {
		t.Error("the same token after 7 h")
	}
	now = now.Add(-3 * time.Hour) // the clock was set
	third := send("4")
	if third == second {
		t.Error("a token from the future is used")
	}
	f.answer("/a", http.StatusForbidden)
	send("5")
	f.answer("/a", http.StatusCreated)
	now = now.Add(6 * time.Minute)
	if send("6") == third {
		t.Error("a token that was refused is used again")
	}
}

func TestWhatCannotBeStored(t *testing.T) {
	f, kept := newFar(t), newStore()
	kept.breaks(errors.New("the card is full"))
	c := open(t, options(f, kept)) // it starts all the same
	if err := c.Subscribe(f.subscription("Ada", "/a")); err == nil || !strings.Contains(err.Error(), "card") {
		t.Errorf("a phone that was not stored is signed up: %v", err)
	}
	if err := c.Complaint(); err == nil || !strings.Contains(err.Error(), "card") {
		t.Errorf("complaint: %v", err)
	}
	kept.breaks(nil)
	subscribe(t, c, f.subscription("Ada", "/a"))
	key, _ := c.PublicKey()
	kept.breaks(errors.New("the card is full"))
	if err := c.Send(t.Context(), hot("m", nil)); err != nil || len(f.calls(false)) != 1 {
		t.Errorf("a full card stops an alarm: %v", err)
	}
	if err := c.Unsubscribe(exporter.NewSecret(f.URL + "/a")); err == nil {
		t.Error("what was not stored is done")
	}
	kept.breaks(nil)
	if again, _ := open(t, options(f, kept)).PublicKey(); again != key {
		t.Error("a restart makes another key pair")
	}
	kept.kept["push"] = "{"
	c = open(t, options(f, kept))
	if all, err := c.List(); err != nil || len(all) != 0 || kept.kept["push.damaged"] != "{" {
		t.Errorf("%v, %v: what is broken is not set aside", all, err)
	}
}

func TestOnePhoneIsTested(t *testing.T) {
	f := newFar(t)
	c := open(t, options(f, newStore()))
	if err := c.Test(t.Context(), exporter.NewSecret("x")); err == nil || !strings.Contains(err.Error(), "not signed up") {
		t.Errorf("got %v", err)
	}
	subscribe(t, c, f.subscription("Ada", "/a"), f.subscription("Bo", "/b"))
	all, _ := c.List()
	for _, which := range []string{f.URL + "/b", all[1].ID} {
		if err := c.Test(t.Context(), exporter.NewSecret(which)); err != nil {
			t.Error(err)
		}
	}
	if got := f.calls(true); len(got) != 2 || got[0].path != "/b" || got[1].path != "/b" || !strings.Contains(got[0].said.Body, `"Bo"`) {
		t.Errorf("%+v", got)
	}
	f.answer("/b", http.StatusGone)
	if err := c.Test(t.Context(), exporter.NewSecret(all[1].ID)); err == nil || !strings.Contains(err.Error(), "no longer subscribed") {
		t.Errorf("got %v", err)
	}
}

func TestLevel(t *testing.T) {
	f := newFar(t)
	o := options(f, newStore())
	o.Level = alarm.Urgent
	c := open(t, o)
	warning := hot("w", func(m *exporter.Message) { m.Event.Severity = alarm.Warning })
	if err := c.Send(t.Context(), warning); err != nil {
		t.Errorf("what is not for this channel needs no phone: %v", err)
	}
	subscribe(t, c, f.subscription("Ada", "/a"))
	for _, m := range []exporter.Message{warning, hot("u", nil), hot("d", func(m *exporter.Message) { m.Kind, m.Event = exporter.AllWell, alarm.Event{} })} {
		if err := c.Send(t.Context(), m); err != nil {
			t.Error(err)
		}
	}
	if got := f.calls(true); len(got) != 2 || got[0].said.ID != "u" || got[1].said.ID != "d" {
		t.Errorf("%d messages arrived", len(got))
	}
}

func TestAPhoneThatNeverAnswersHoldsUpNoOther(t *testing.T) {
	f, g := newFar(t), newFar(t)
	o := options(f, newStore())
	o.Net.Roots.AddCert(g.Certificate())
	c := open(t, o)
	subscribe(t, c, f.subscription("Ada", "/a"), g.subscription("Bo", "/b"))
	g.set(func() { g.conduct = sinktest.Hangs })
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	said := make(chan error, 1)
	go func() { said <- c.Send(ctx, hot("m", nil)) }()
	for len(f.calls(false)) == 0 { // until Ada has it, whatever Bo does
		time.Sleep(time.Millisecond)
	}
	select {
	case err := <-said:
		t.Errorf("it did not wait for Bo: %v", err)
	case <-time.After(50 * time.Millisecond):
	}
	cancel()
	if err := <-said; err == nil || !strings.Contains(err.Error(), `"Bo": no answer in time`) {
		t.Errorf("got %v", err)
	}
}
