package phone

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"mime"
	"slices"
	"strings"
	"text/template"
	"time"

	"nestmon/exporter"
	"nestmon/thresholds/alarm"
)

// templates are the parts of a request that are written anew for every message.
type templates struct {
	body    *template.Template
	headers map[string]*template.Template
}

var functions = template.FuncMap{
	"json": func(v any) (string, error) {
		b := &bytes.Buffer{}
		e := json.NewEncoder(b)
		e.SetEscapeHTML(false)
		err := e.Encode(v)
		return strings.TrimSuffix(b.String(), "\n"), err
	},
	"header":   headerText,
	"priority": priority,
}

// headerText makes one line of s, encoded by RFC 2047 where it is not ASCII: a raw degree sign arrives garbled where a
// server reads headers as Latin-1.
func headerText(s string) string {
	return mime.QEncoding.Encode("utf-8", strings.Join(strings.Fields(s), " "))
}

// priority is the severity on the scale of 1 to 5 that push services use; common practice, no source.
func priority(severity string) string {
	switch severity {
	case alarm.Urgent.String():
		return "5"
	case alarm.Warning.String():
		return "4"
	}
	return "3"
}

// templates parses what the channel says, or its format, and tries it on an invented message. Errors name no text of a
// header, since that may be a key.
func (c Channel) templates() (templates, error) {
	f := formats[orText(c.Format, "text")]
	out := templates{headers: map[string]*template.Template{}}
	var err error
	if out.body, err = parse("body", orText(c.Body, f.body)); err != nil {
		return out, err
	}
	if c.Body == "" {
		for name, text := range f.headers {
			if out.headers[name], err = parse("header "+name, text); err != nil {
				return out, err
			}
		}
	}
	for name, text := range c.Headers {
		if out.headers[name], err = parse("header "+name, text.Reveal()); err != nil {
			return out, fmt.Errorf("the template of header %s cannot be used", name)
		}
	}
	return out, nil
}

func parse(name, text string) (*template.Template, error) {
	t, err := template.New(name).Funcs(functions).Option("missingkey=error").Parse(text)
	if err != nil {
		return nil, plainTemplateError(err)
	}
	_, err = execute(t, sample())
	return t, err
}

// templateRemedy says what a template can hold.
func templateRemedy() string {
	return "write the keys as {{.title}}: " + strings.Join(slices.Sorted(maps.Keys(fields(sample()))), ", ") +
		", and the functions as {{json .title}}: " + strings.Join(slices.Sorted(maps.Keys(functions)), ", ")
}

func execute(t *template.Template, m exporter.Message) (string, error) {
	var b strings.Builder
	if err := t.Execute(&b, fields(m)); err != nil {
		return "", plainTemplateError(err)
	}
	return b.String(), nil
}

func plainTemplateError(err error) error {
	return errors.New(strings.TrimPrefix(err.Error(), "template: "))
}

// fields is a message as templates see it. value and limit are there in every message, nil where the event has none.
func fields(m exporter.Message) map[string]any {
	e := m.Event
	f := map[string]any{
		"id": m.ID, "time": m.Time.UTC().Format(time.RFC3339), "nest": e.Nest, "event": string(e.Name), "severity": e.Severity.String(),
		"state": string(e.State), "title": m.Title, "text": m.Body, "value": nil, "limit": nil, "unit": e.Unit, "probe": e.Probe, "since": nil,
		"rule": e.Rule, "source": e.Source, "kind": string(m.Kind), "link": m.Link, "alarms": len(m.About),
	}
	if len(m.About) == 0 && e.Name != "" {
		f["alarms"] = 1
	}
	if e.HasValue {
		f["value"] = e.Value
	}
	if e.HasLimit {
		f["limit"] = e.Limit
	}
	if !e.Since.IsZero() {
		f["since"] = e.Since.UTC().Format(time.RFC3339)
	}
	return f
}

// sample is an invented message on which templates are tried when they are loaded.
func sample() exporter.Message {
	at := time.Date(2026, 7, 14, 12, 0, 0, 0, time.UTC)
	return exporter.Message{
		ID: "sample", Time: at, Title: "title", Body: "text",
		Event: alarm.Event{Time: at, Since: at, Nest: "a1", Name: alarm.NestHeat, State: alarm.Raised, Severity: alarm.Urgent, Value: 40, HasValue: true, Unit: "C"},
	}
}

func orText(s, otherwise string) string {
	if s == "" {
		return otherwise
	}
	return s
}
