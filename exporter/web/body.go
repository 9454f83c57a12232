package web

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"nestmon/thresholds/alarm"
)

const tooLarge = "the request is larger than 64 kB; send less"

// taken reads the JSON object of a request. When ok is false the request is answered.
func taken[T any](w http.ResponseWriter, r *http.Request) (v T, ok bool) {
	text, err := io.ReadAll(r.Body)
	if err != nil {
		if errors.As(err, new(*http.MaxBytesError)) {
			refuse(w, http.StatusRequestEntityTooLarge, tooLarge)
			return v, false
		}
		refuse(w, http.StatusBadRequest, "the request ended before it was whole; send it again")
		return v, false
	}
	if v, err = object[T](text); err != nil {
		refuse(w, http.StatusBadRequest, err.Error())
		return v, false
	}
	return v, true
}

// object reads one JSON object whose names are all known, and nothing after it. The error quotes nothing: it may be a password.
func object[T any](text []byte) (v T, err error) {
	in := json.NewDecoder(bytes.NewReader(text))
	in.DisallowUnknownFields()
	switch {
	case !utf8.Valid(text):
		return v, errors.New("the request is not text in UTF-8")
	case !bytes.HasPrefix(bytes.TrimLeft(text, " \t\r\n"), []byte("{")):
		return v, errors.New("the request is not a JSON object; send {…}")
	case in.Decode(&v) != nil:
		return *new(T), errors.New("the request is not the JSON object that is wanted here; the page's addresses and what they take stand in package web")
	case len(bytes.TrimSpace(text[in.InputOffset():])) > 0:
		return *new(T), errors.New("something follows the JSON object; send it alone")
	case twice(json.NewDecoder(bytes.NewReader(text))):
		return *new(T), errors.New("a name stands twice in the JSON object; send each once")
	}
	return v, nil
}

// twice reports whether an object of the next value names something twice, in whatever case: the decoder takes "A" for "a", the last one counts
// for it, and for others the first.
func twice(in *json.Decoder) bool {
	t, err := in.Token()
	if delim, nested := t.(json.Delim); err == nil && nested {
		names := map[string]bool{}
		for in.More() {
			if delim == '{' {
				name, err := in.Token()
				text, _ := name.(string)
				if text = strings.ToLower(text); err != nil || names[text] {
					return true
				}
				names[text] = true
			}
			if twice(in) {
				return true
			}
		}
		_, err = in.Token()
	}
	return err != nil
}

type placeBody struct {
	Nest  string     `json:"nest"`
	Event alarm.Name `json:"event"`
}

type testBody struct {
	Channel string `json:"channel"`
}

type actBody struct {
	Action alarm.Action `json:"action"`
	Nest   string       `json:"nest"`
	Event  alarm.Name   `json:"event"`
	For    int64        `json:"for_s"`
	// Of the alarm that the person saw. What is acknowledged is that one, and not what came since.
	Since time.Time `json:"since"`
	Time  time.Time `json:"time"`
}

// by is who did it, as the journal has it.
const by = "page"

// act is the body as the Keeper takes it.
func (b actBody) act() (alarm.Act, error) {
	seconds := time.Duration(b.For) * time.Second
	switch {
	case !slices.Contains(alarm.Actions, b.Action):
		return alarm.Act{}, fmt.Errorf("there is no such action; send one of: %s", joined(alarm.Actions))
	case b.Event != "" && !slices.Contains(alarm.Names, b.Event):
		return alarm.Act{}, fmt.Errorf("there is no such event; send one such as %s", alarm.NestHeat)
	case b.For != 0 && b.Action != alarm.Shelve:
		return alarm.Act{}, fmt.Errorf("for_s belongs to %s; leave it out", alarm.Shelve)
	case b.For < 0 || b.For > int64(alarm.LongestShelf/time.Second) || seconds > alarm.MaxShelf(b.Event):
		return alarm.Act{}, fmt.Errorf("that is no time for which this can be shelved; send 1 to %.0f seconds", alarm.MaxShelf(b.Event).Seconds())
	case b.Action == alarm.Acknowledge && b.Event != "" && (b.Since.IsZero() || b.Time.IsZero()):
		return alarm.Act{}, errors.New("which alarm was seen is missing; send its since and time as they stand in the state")
	}
	return alarm.Act{Action: b.Action, Nest: b.Nest, Event: b.Event, For: seconds, By: by, Since: b.Since}, nil
}

func joined(all []alarm.Action) string {
	var text []byte
	for i, a := range all {
		if i > 0 {
			text = append(text, ", "...)
		}
		text = append(text, a...)
	}
	return string(text)
}
