package phone

import (
	"fmt"
	"net/http"
	"net/textproto"
	"net/url"
	"os"
	"slices"
	"strings"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/phone/mail"
	"nestmon/exporter/phone/push"
	"nestmon/thresholds/alarm"
)

// Config is the block phone of the configuration.
type Config struct {
	Channels      []Channel     `yaml:"channels"`
	Contacts      []Contact     `yaml:"contacts"` // in the order in which they are called; empty for everybody at once
	QuietHours    *Window       `yaml:"quiet_hours"`
	Repeat        time.Duration `yaml:"repeat"`         // of what is urgent and not acknowledged; 0 for 10m
	EscalateAfter int           `yaml:"escalate_after"` // repeats until the next contact is called too; 0 for 3
	Digest        string        `yaml:"digest"`         // time of day; empty for the end of the quiet hours, or 07:00
	AllWell       string        `yaml:"all_well"`       // time of day; empty for never
	Heartbeat     *Beats        `yaml:"heartbeat"`
}

// Channel is one way to a person: a webhook, or what the block under it says.
type Channel struct {
	Name        string                     `yaml:"name"` // in logs and on the page; also the key of what waits for it
	URL         exporter.Secret            `yaml:"url"`
	URLFile     string                     `yaml:"url_file"` // one line
	Format      string                     `yaml:"format"`   // text (empty) or json
	Method      string                     `yaml:"method"`   // empty for POST
	ContentType string                     `yaml:"content_type"`
	Headers     map[string]exporter.Secret `yaml:"headers"`  // templates
	Body        string                     `yaml:"body"`     // a template; empty for the format's
	AtLeast     alarm.Severity             `yaml:"at_least"` // empty for warning
	Mail        *mail.Config               `yaml:"mail"`     // in place of all that belongs to a webhook
	Push        *push.Config               `yaml:"push"`     // in place of all that belongs to a webhook
}

// format is what a channel sends where it does not say otherwise.
type format struct {
	contentType, body string
	headers           map[string]string
}

var formats = map[string]format{
	"text": {"text/plain; charset=utf-8", "{{.text}}", map[string]string{"Title": "{{header .title}}", "Priority": `{{if eq .state "cleared"}}3{{else}}{{priority .severity}}{{end}}`}},
	"json": {"application/json", "{{json .}}", nil},
}

// Level is the lowest severity a channel carries.
func (c Channel) Level() alarm.Severity {
	if c.AtLeast == alarm.None {
		return alarm.Warning
	}
	return c.AtLeast
}

var methods = []string{http.MethodPost, http.MethodPut, http.MethodPatch}

// Validate reports every setting that cannot work. It never quotes an address or a header.
func (c Config) Validate(report func(path, problem string)) {
	names, pushes := map[string]bool{}, 0
	for i, ch := range c.Channels {
		at := func(path, problem string) { report(fmt.Sprintf("channels[%d].%s", i, path), problem) }
		if ch.Name == "" {
			at("name", "is missing; write a short name, such as mobile")
		} else if names[ch.Name] {
			at("name", fmt.Sprintf("%q is used twice; write another", ch.Name))
		}
		names[ch.Name] = true
		if ch.Push != nil {
			if pushes++; pushes > 1 {
				at("push", "is given twice, and a phone signs up for one channel; remove one of the two")
			}
		}
		ch.validate(at)
	}
	c.validatePlan(report)
	if c.Heartbeat != nil {
		c.Heartbeat.validate(func(path, problem string) { report("heartbeat."+path, problem) })
		if names[HeartbeatName] {
			report("heartbeat", fmt.Sprintf("a channel is called %s too; write another name for the channel", HeartbeatName))
		}
	}
}

func (c Channel) validate(report func(path, problem string)) {
	for name, other := range map[string]bool{"mail": c.Mail != nil, "push": c.Push != nil} {
		if !other {
			continue
		}
		for _, key := range c.webhookKeys() {
			report(key, fmt.Sprintf("belongs to a webhook and not to %s; remove it, or write a channel of its own for the webhook", name))
		}
	}
	switch {
	case c.Mail != nil && c.Push != nil:
		report("push", "is given beside mail; write a channel of its own for each")
		return
	case c.Mail != nil:
		c.Mail.Validate(func(path, problem string) { report("mail."+path, problem) })
		return
	case c.Push != nil:
		c.Push.Validate(func(path, problem string) { report("push."+path, problem) })
		return
	}
	switch {
	case c.URL.IsSet() && c.URLFile != "":
		report("url", "is given beside url_file; write one of them")
	case !c.URL.IsSet() && c.URLFile == "":
		report("url", "is missing; write the address the phone's service gave you, or url_file with a file that holds it, or mail: with a mail server, or push: for phones that sign up on the page")
	case c.URL.IsSet() && checkURL(c.URL) != nil:
		report("url", checkURL(c.URL).Error())
	}
	if _, ok := formats[c.Format]; !ok && c.Format != "" {
		report("format", fmt.Sprintf("%q is unknown; write text or json", c.Format))
	}
	if c.Method != "" && !slices.Contains(methods, c.Method) {
		report("method", fmt.Sprintf("%q is not possible; write one of: %s", c.Method, strings.Join(methods, ", ")))
	}
	for name := range c.Headers {
		if !token(name) {
			report("headers", fmt.Sprintf("%q cannot be a header's name; write letters, digits and hyphens", name))
		}
	}
	if _, err := parse("body", c.Body); err != nil {
		report("body", "is no template: "+err.Error()+"; "+templateRemedy())
	}
	for name, text := range c.Headers {
		if _, err := parse("header", text.Reveal()); err != nil && token(name) {
			report("headers."+name, "is no template; "+templateRemedy()) // the error quotes the header, which may be a key
		}
	}
}

// webhookKeys are those that are set of the keys that only a webhook has.
func (c Channel) webhookKeys() (set []string) {
	for _, k := range []struct {
		key   string
		given bool
	}{
		{"url", c.URL.IsSet()},
		{"url_file", c.URLFile != ""},
		{"format", c.Format != ""},
		{"method", c.Method != ""},
		{"content_type", c.ContentType != ""},
		{"headers", len(c.Headers) > 0},
		{"body", c.Body != ""},
	} {
		if k.given {
			set = append(set, k.key)
		}
	}
	return set
}

func checkURL(s exporter.Secret) error {
	u, err := url.Parse(s.Reveal())
	if err != nil || (u.Scheme != "https" && u.Scheme != "http") || u.Hostname() == "" {
		return fmt.Errorf("is not a web address; write https://HOST/PATH")
	}
	return nil
}

// address reads the URL from where it stands.
func (c Channel) address() (exporter.Secret, error) { return address(c.URL, c.URLFile) }

// Server is scheme, host and port of the address, without what is secret of it; empty where it cannot be read.
func (c Channel) Server() string { return serverOf(c.address()) }

// Server is the same of the heartbeat's receiver.
func (b Beats) Server() string { return serverOf(b.address()) }

func serverOf(address exporter.Secret, err error) string {
	u, wrong := url.Parse(address.Reveal())
	if err != nil || wrong != nil {
		return ""
	}
	return u.Scheme + "://" + u.Host
}

func address(s exporter.Secret, file string) (exporter.Secret, error) {
	if file != "" {
		b, err := os.ReadFile(file)
		if err != nil {
			return exporter.Secret{}, fmt.Errorf("url_file: %w; the file must be there, with one line, and readable for this user", err)
		}
		s = exporter.NewSecret(strings.TrimSpace(string(b)))
	}
	if err := checkURL(s); err != nil {
		return exporter.Secret{}, fmt.Errorf("the address %w", err)
	}
	return s, nil
}

// token reports whether name can be a header's.
func token(name string) bool {
	for _, r := range name {
		if !strings.ContainsRune("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_", r) {
			return false
		}
	}
	return name != "" && textproto.CanonicalMIMEHeaderKey(name) != "Host"
}
