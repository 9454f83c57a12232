package web

import (
	"net/http"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/alarm/quality"
)

// Of the alarms' quality, ours, no source: four weeks to judge by, a year at most.
const (
	qualityDays     = 28
	mostQualityDays = 366
)

// Calls says who is called, in which order and when. It holds no address.
type Calls struct {
	Contacts   []Contact `json:"contacts"` // in their order
	RepeatS    float64   `json:"repeat_s"` // of what is urgent and not acknowledged
	Escalate   int       `json:"escalate_after"`
	QuietFrom  string    `json:"quiet_from"` // times of day, empty where there are none
	QuietTo    string    `json:"quiet_to"`
	QuietHolds string    `json:"quiet_holds"` // the highest severity that waits in them
	AllWell    string    `json:"all_well"`
}

// Contact is one person in it.
type Contact struct {
	Name     string    `json:"name"`
	Channels []Channel `json:"channels"`
}

// Channel is one way to a person; it is a sink of that name too.
type Channel struct {
	Name    string         `json:"name"`
	AtLeast alarm.Severity `json:"at_least"` // the lowest severity it carries
}

func (s *Server) serveCalls(w http.ResponseWriter, _ *http.Request) {
	v := s.Options.Calls
	if v.Contacts == nil {
		v.Contacts = []Contact{}
	}
	s.answerJSON(w, v)
}

type qualityView struct {
	Days      int              `json:"days"`
	NestWeeks float64          `json:"nest_weeks"`
	Few       bool             `json:"few"`
	Figures   []quality.Figure `json:"figures"`
	Advice    []string         `json:"advice"`
}

func (s *Server) serveQuality(w http.ResponseWriter, r *http.Request) {
	q := s.parseQuery(r, "days")
	days := q.count("days", qualityDays, mostQualityDays)
	if q.refused(w) {
		return
	}
	if s.Options.Quality == nil {
		refuse(w, http.StatusNotFound, nobody)
		return
	}
	if !s.readSlot(w, r) {
		return
	}
	report, err := s.Options.Quality(days)
	<-s.reads
	if err != nil {
		s.unreadable(w, err)
		return
	}
	v := qualityView{Days: days, NestWeeks: report.NestWeeks, Few: report.Few, Figures: report.Figures, Advice: report.Advice}
	if v.Advice == nil {
		v.Advice = []string{}
	}
	s.answerJSON(w, v)
}
