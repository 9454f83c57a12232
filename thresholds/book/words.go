package book

import (
	"fmt"
	"strings"
	"time"

	"nestmon/thresholds/alarm"
)

// When is the day on which it happened, or the minute where that is known.
func (e Entry) When(loc *time.Location) string {
	if e.Day {
		return e.on(loc)
	}
	return e.At.In(loc).Format("2006-01-02 15:04")
}

// Say is the entry in words, with when it happened where that is not empty: "2 lost on 2031-04-03, chilled".
func (e Entry) Say(when string) string {
	said, tail := e.words()
	if when != "" && e.What != Struck {
		said += " on " + when
	}
	for _, t := range tail {
		if t != "" {
			said += ", " + t
		}
	}
	if e.Note != "" {
		said += ": " + e.Note
	}
	return said
}

// words are what is said before and after the day.
func (e Entry) words() (head string, tail []string) {
	kits := func(verb string) string {
		if e.Kits == nil {
			return verb
		}
		return fmt.Sprintf("%d %s", *e.Kits, verb)
	}
	say := func(format string, there bool, args ...any) string {
		if !there {
			return ""
		}
		return fmt.Sprintf(format, args...)
	}
	bedding := strings.TrimSpace(e.Bedding + say(" %.3g cm (%.2g in) deep", e.Depth != 0, e.Depth, e.Depth/2.54))
	parents := []string{say("doe %s", e.Doe != "", e.Doe), say("buck %s", e.Buck != "", e.Buck)}
	switch e.What {
	case Bred:
		return "bred", parents
	case Palpated:
		return "palpated", []string{strings.ReplaceAll(string(e.Found), "-", " ")}
	case BoxIn:
		return "box put in", []string{bedding}
	case Kindled:
		born := ""
		if e.Kits != nil {
			born = fmt.Sprintf("%d alive", *e.Kits)
		}
		if e.Dead != nil {
			born = strings.TrimPrefix(born+fmt.Sprintf(", %d dead", *e.Dead), ", ")
		}
		return "kindled", append([]string{born, bedding}, parents...)
	case FosteredIn:
		return kits(fmt.Sprintf("fostered in from litter %d", e.With)), nil
	case FosteredOut:
		return kits(fmt.Sprintf("fostered out to litter %d", e.With)), nil
	case Lost:
		return kits("lost"), []string{strings.ReplaceAll(string(e.Cause), "-", " ")}
	case Weighed:
		each := ""
		if e.Kits != nil && *e.Kits > 0 {
			each = fmt.Sprintf("%.0f g each", e.Grams/float64(*e.Kits))
		}
		return kits("weighed"), []string{fmt.Sprintf("%.0f g", e.Grams), each}
	case Moved:
		return "moved to " + e.To, []string{bedding}
	case Collected:
		return kits("collected") + say(" to %s", e.To != "", e.To), nil
	case DidNotKindle:
		return "did not kindle", nil
	case CarriedIn:
		return "carried indoors", nil
	case CarriedOut:
		return "carried out again", nil
	case Did:
		return choreWords(e.Chore) + " done", []string{bedding}
	case Struck:
		return fmt.Sprintf("entry %d struck", e.Replaces), nil
	}
	return kits(string(e.What)), nil
}

func choreWords(name alarm.Name) string {
	return strings.ReplaceAll(strings.TrimSuffix(string(name), "-due"), "-", " ")
}
