package mail

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"regexp"
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
	out.Subject(strings.Join(strings.Fields(strings.ToValidUTF8(msg.Title, "?")), " "))
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
	if msg.Link != "" {
		body += "\n\nAnswer: " + msg.Link
	}
	out.SetBodyString(gomail.TypeTextPlain, strings.ToValidUTF8(body, "?")+"\n")
	var text bytes.Buffer
	_, err := out.WriteTo(&text)
	return text.Bytes(), err
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
