package mail

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"mime"
	"regexp"
	"slices"
	"strings"
	"time"

	gomail "github.com/wneessen/go-mail"

	"nestmon/exporter"
	"nestmon/thresholds/alarm"
)

// write makes the whole mail, before anything is connected: what cannot be written must not break off within a message.
func (m *Mailer) write(msg exporter.Message) ([]byte, error) {
	out := gomail.NewMsg(gomail.WithNoDefaultUserAgent())
	out.FromMailAddress(m.from)
	out.ToMailAddress(m.to...)
	out.Subject(subject(msg.Title))
	out.SetDateWithValue(msg.Time)
	out.SetMessageIDWithValue(m.id(msg.ID))
	out.SetGenHeader("Auto-Submitted", "auto-generated") // RFC 3834, 5
	if msg.Event.Severity == alarm.Urgent && msg.Event.State != alarm.Cleared {
		// The words of RFC 2156, 5.3.4 and 5.3.6; go-mail's own are others.
		out.SetGenHeader(gomail.HeaderImportance, "high")
		out.SetGenHeader(gomail.HeaderPriority, "urgent")
	}
	if thread := thread(msg); thread != "" {
		thread = "<" + m.id(thread) + ">"
		out.SetGenHeader(gomail.HeaderInReplyTo, thread)
		out.SetGenHeader(gomail.HeaderReferences, thread)
	}
	body := msg.Body
	if msg.Link != "" && !strings.Contains(body, msg.Link) {
		body += "\n\nAnswer: " + msg.Link
	}
	out.SetBodyString(gomail.TypeTextPlain, strings.ToValidUTF8(body, "?")+"\n")
	var text bytes.Buffer
	_, err := out.WriteTo(&text)
	return text.Bytes(), err
}

// subject leaves the words before the first that is not ASCII as they are. Encoded from its beginning a long one would begin with a line break,
// which some readers show as a space.
func subject(title string) string {
	words := strings.Fields(strings.ToValidUTF8(title, "?"))
	i := slices.IndexFunc(words, func(w string) bool { return strings.ContainsFunc(w, func(r rune) bool { return r > '~' || r < ' ' }) })
	if i < 0 {
		return strings.Join(words, " ")
	}
	encoded := mime.QEncoding.Encode("UTF-8", strings.Join(words[i:], " "))
	return strings.Join(append(words[:i:i], encoded), " ")
}

// plainID is what may stand in a Message-ID as it is; a part of what RFC 5322, 3.6.4 allows.
var plainID = regexp.MustCompile(`^[A-Za-z0-9-]{1,64}$`)

// id is unique in the world, as far as id is at the sender's domain.
func (m *Mailer) id(id string) string {
	if !plainID.MatchString(id) {
		id = digest(id)
	}
	return id + m.from.Address[strings.LastIndex(m.from.Address, "@"):]
}

// thread is the same for everything that is said of one alarm, and empty for what has no duration or is about many. No message bears it:
// whichever comes first, the others are shown with it.
func thread(msg exporter.Message) string {
	e := msg.Event
	ofOne := msg.Kind == "" || msg.Kind == exporter.Alarm || msg.Kind == exporter.Repeat
	if !ofOne || e.Name == "" || e.State == alarm.Noted || e.Since.IsZero() {
		return ""
	}
	return "alarm-" + digest(e.Nest, string(e.Name), e.Since.UTC().Format(time.RFC3339Nano))
}

func digest(parts ...string) string {
	sum := sha256.Sum256([]byte(strings.Join(parts, "\x00")))
	return hex.EncodeToString(sum[:16])
}
