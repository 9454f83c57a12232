package radio

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"nestmon/sensors"
)

const (
	// mostPayload is the longest message that is looked at, in bytes; nodes and gateways send a few hundred. Ours, no source.
	mostPayload = 16 << 10
	// mostDigits is the longest text that may be a number; a float64 in full is 24 characters long.
	mostDigits = 32
	// quoted is how much of a payload a message shows.
	quoted = 40
	// millis is where a Unix time cannot be in seconds any more: it would be in the year 5138.
	millis = 1e11
)

// words are how nodes and gateways say that there is no value; from memory of common firmware.
var words = map[string]sensors.Fault{
	"": sensors.NoAnswer, "null": sensors.NoAnswer, "none": sensors.NoAnswer, "unavailable": sensors.NoAnswer,
	"unknown": sensors.NoAnswer, "offline": sensors.NoAnswer, "nan": sensors.NotConverted,
}

// fault is a reason with its story.
type fault struct {
	reason sensors.Fault
	story  string
}

func (f *fault) Error() string { return f.story }

func faultf(reason sensors.Fault, format string, args ...any) *fault {
	return &fault{reason, fmt.Sprintf(format, args...)}
}

// word says which fault a payload or a value is by its word, or nothing.
func word(text string) *fault {
	reason, ok := words[strings.ToLower(text)]
	if !ok {
		return nil
	}
	return faultf(reason, "the node says %q: it has no value", text)
}

// number reads a decimal number. Go's own parser also takes hexadecimal, infinities and other spellings.
func number(text string) (float64, *fault) {
	text = strings.TrimSpace(text)
	if f := word(text); f != nil {
		return 0, f
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || len(text) > mostDigits || strings.Trim(text, "+-.0123456789eE") != "" {
		return 0, faultf(sensors.Malformed, "%.*q is not a number; let the node send digits with a point, and no unit", quoted, text)
	}
	return v, nil
}

// scalar reads what a pointer found.
func scalar(found any) (float64, *fault) {
	switch v := found.(type) {
	case nil:
		return number("null")
	case json.Number:
		return number(v.String())
	case string:
		return number(v)
	}
	return 0, faultf(sensors.Malformed, "is neither a number nor text; let the pointer lead to the number itself")
}

// decode reads a payload as JSON, whole and nothing after it, or as the text it is where the probe has no pointers.
func decode(payload []byte, plain bool) (any, *fault) {
	if len(payload) > mostPayload {
		return nil, faultf(sensors.Malformed, "the message is longer than %d bytes", mostPayload)
	}
	text := string(bytes.TrimSpace(payload))
	if f := word(text); f != nil {
		return nil, f
	}
	if inner := strings.TrimPrefix(text, `"`); plain {
		if len(inner) < len(text) {
			text = strings.TrimSuffix(inner, `"`)
		}
		return text, nil
	}
	d := json.NewDecoder(bytes.NewReader(payload))
	d.UseNumber()
	var doc any
	if err := d.Decode(&doc); err != nil {
		return nil, faultf(sensors.Malformed, "%.*q is not JSON (%v); leave the pointers out for a plain number", quoted, text, err)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return nil, faultf(sensors.Malformed, "%.*q goes on after its JSON", quoted, text)
	}
	return doc, nil
}

// instant reads when a message was measured.
func instant(found any) (time.Time, *fault) {
	text := fmt.Sprint(found)
	if at, err := time.Parse(time.RFC3339, text); err == nil {
		return at, nil
	}
	unix, f := scalar(found)
	if f != nil || unix < 0 || unix >= 1000*millis {
		return time.Time{}, faultf(sensors.Malformed, "%.*q is no time; let the node send Unix time, or RFC 3339 such as 2026-01-20T06:00:00Z", quoted, text)
	}
	if unix >= millis {
		unix /= 1000
	}
	whole, part := math.Modf(unix)
	return time.Unix(int64(whole), int64(part*1e9)), nil
}
