package nest

import (
	"fmt"
	"strings"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
)

// makeup is what the trade gives nests for a season, one sentence for each kind that is there (common practice, no source).
var makeup = map[brood.Season][]struct {
	has func(c Config) bool
	say string
}{
	brood.Winter: {
		{isBox, "Boxes: cover the floor, about 3 inches (7.6 cm) of shavings under dry straw, well filled, and a vent left open."},
		{isWire, "Wire floors: lay cardboard or a board over the wire."},
		{isMetal, "Metal: line the walls with corrugated cardboard."},
		{isTote, "Totes: fill up with dry straw, see that the lid is tight against rain and snow, and keep the mouth of the pipe open; soil takes off the day's cold, not the winter's."},
	},
	brood.Summer: {
		{isBox, "Boxes: open screen floor, about 1 inch (2.5 cm) of shavings, shade, and air that moves through."},
		{isMetal, "Metal: take the cardboard out, and let no sun fall on it."},
		{isTote, "Totes: shade the lid and the mouth of the pipe, and keep about 1 inch (2.5 cm) of dry bedding; a shallow lid in the sun undoes the cool soil."},
	},
}

func isBox(c Config) bool   { return c.Kind != brood.BuriedTote }
func isTote(c Config) bool  { return c.Kind == brood.BuriedTote }
func isMetal(c Config) bool { return c.Kind == brood.MetalBox }
func isBare(c Config) bool  { return isMetal(c) && !c.Lined }
func isWire(c Config) bool  { return isBox(c) && c.Floor == brood.WireFloor }

// seasonSetupDue needs the air outside. In winter a metal box that is not entered as lined stays asked for, whatever was done.
func (s *Site) seasonSetupDue(_ *Now) alarm.Condition {
	season := s.season.Season()
	c := alarm.Condition{Severity: alarm.Notice, Since: s.season.since, Why: string(season), Value: round2(s.season.decided), HasValue: true, Unit: "C"}
	switch {
	case season == brood.Mild:
		return alarm.Condition{}
	case s.marks.last(alarm.SeasonSetupDue).Before(s.season.since):
	case season == brood.Winter && s.any(isBare):
		c.Why = whyBare
	default:
		return alarm.Condition{}
	}
	c.Probe = s.air.Probe
	return c
}

func (s *Site) any(has func(c Config) bool) bool {
	for _, c := range s.nests {
		if has(c) {
			return true
		}
	}
	return false
}

// makeupWords is about the kinds of nest that are there, all kinds where none is entered.
func (s *Site) makeupWords(c alarm.Condition) string {
	if c.Why == whyBare {
		var bare []string
		for _, n := range s.nests {
			if isBare(n) {
				bare = append(bare, n.ID)
			}
		}
		return fmt.Sprintf("Bare metal in frost weather (%s). Line the walls with corrugated cardboard, cover a wire floor and bed deep; then say in the configuration that it is lined, and restart nestmon.", strings.Join(bare, ", "))
	}
	season := brood.Season(c.Why)
	head := "Give the nests their winter bedding and lining, nights are at %s, or will be by the last hours' course."
	if season == brood.Summer {
		head = "Give the nests their summer bedding and shade, days are at %s, or will be by the last hours' course."
	}
	text := []string{fmt.Sprintf(head, both(c.Value))}
	for _, m := range makeup[season] {
		if len(s.nests) == 0 || s.any(m.has) {
			text = append(text, m.say)
		}
	}
	return strings.Join(text, " ")
}
