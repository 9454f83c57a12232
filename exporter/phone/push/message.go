package push

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"errors"
	"sort"
	"time"

	webpush "github.com/SherClockHolmes/webpush-go"

	"nestmon/exporter"
	"nestmon/thresholds/alarm"
)

// What a push service does with a message for a phone that is off. The longer it keeps one the better: what is over has replaced it by
// then. An alarm is not kept for longer than somebody must have looked by other ways. Ours, no source.
const (
	keepUrgent = 12 * time.Hour
	keepOther  = 24 * time.Hour
	keepTrial  = 5 * time.Minute // who tests stands beside the phone
)

// care is how a push service and a phone are to treat a message.
type care struct {
	ttl     time.Duration
	urgency webpush.Urgency
	stays   bool // on the screen until somebody touches it
	again   bool // sounds although it takes the place of an earlier one
}

// careOf decides by kind and severity. A warning is as urgent as an urgent alarm to a phone that saves its battery: with less, it may be
// kept until the morning, and some warnings are of kits that will not live until then. When to send one at all was decided before.
func careOf(m exporter.Message) care {
	over := m.Event.State == alarm.Cleared
	switch {
	case m.Kind == exporter.Trial:
		return care{keepTrial, webpush.UrgencyHigh, false, true}
	case m.Kind == exporter.Digest, m.Kind == exporter.AllWell:
		return care{keepOther, webpush.UrgencyLow, false, false}
	case over:
		return care{keepOther, webpush.UrgencyNormal, false, false}
	case m.Event.Severity == alarm.Urgent:
		return care{keepUrgent, webpush.UrgencyHigh, true, true}
	case m.Event.Severity == alarm.Warning:
		return care{keepOther, webpush.UrgencyHigh, false, true}
	}
	return care{keepOther, webpush.UrgencyNormal, false, true}
}

// subject names what a message is about: a later one about the same takes the place of an earlier one, at the push service and on the phone.
func subject(m exporter.Message) string {
	switch m.Kind {
	case "", exporter.Alarm, exporter.Repeat:
		return m.Event.Nest + "-" + string(m.Event.Name)
	}
	return string(m.Kind)
}

// topicBytes give 32 characters of base64url, the most a Topic may have (RFC 8030, 5.4).
const topicBytes = 24

// topic is subject in a form that tells a push service nothing.
func topic(key, subject string) string {
	sum := sha256.Sum256([]byte(key + "\x00" + subject))
	return base64.RawURLEncoding.EncodeToString(sum[:topicBytes])
}

// sizes are those of a request's body in bytes, tried one after the other where a push service finds one too large. A push service must
// take 4,096 (RFC 8030, 7.2), but one passes on to phones no more than 3,070, as its users report publicly. The others are ours, no source.
// Each body is filled up to its size, so that nobody sees by its length what it says.
var sizes = [...]int{3070, 2048, 1024}

// overhead is what encryption adds: salt, record size, length and key (RFC 8188, 2.1), the mark of the end, and the tag.
const overhead = 16 + 4 + 1 + 65 + 1 + 16

// words are what the page's worker shows.
type words struct {
	ID    string    `json:"id"`
	Title string    `json:"title"`
	Body  string    `json:"body"`
	Tag   string    `json:"tag"`
	Link  string    `json:"link,omitempty"`
	Time  time.Time `json:"time"`
	Stays bool      `json:"stays"`
	Again bool      `json:"again"`
}

// payload writes m in at most size bytes. What does not fit is taken from the end of the body: what is wrong stands at its beginning.
func payload(m exporter.Message, size int) ([]byte, error) {
	c := careOf(m)
	w := words{m.ID, m.Title, m.Body, subject(m), m.Link, m.Time, c.stays, c.again}
	write := func(body string) []byte {
		w.Body = body
		var b bytes.Buffer
		e := json.NewEncoder(&b)
		e.SetEscapeHTML(false)
		_ = e.Encode(w) // texts and times of our own always can
		return bytes.TrimSpace(b.Bytes())
	}
	if text := write(m.Body); len(text) <= size {
		return text, nil
	}
	body := []rune(m.Body)
	shorter := func(n int) []byte { return write(string(body[:n]) + "…") }
	n := sort.Search(len(body), func(n int) bool { return len(shorter(n+1)) > size })
	text := shorter(n)
	if len(text) > size {
		return nil, errors.New("its title alone is too long")
	}
	return text, nil
}
