package web

import (
	"bytes"
	"cmp"
	"compress/gzip"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"nestmon/exporter"
	"nestmon/sensors"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/review"
)

// indexView is what index.html is made of.
type indexView struct {
	Words   words
	Look    *firstLook // or nil
	Nothing string     // why there is none: closed, old or none
}

// firstLook is what index.html shows of the newest state before its scripts run, and where none ever does: what was measured when, and what
// stands. It says of nothing that all is well: that takes what the scripts know, and a state that is still new when it is read.
type firstLook struct {
	At    string // in the site's zone; empty while the clock is not known
	Site  []firstAlarm
	Nests []firstNest
}

type firstAlarm struct {
	Severity alarm.Severity
	Text     string
}

type firstNest struct {
	ID       string
	Severity alarm.Severity
	Says     []string // its severity, the limit it is past, and what is not judged; of what is well nothing
	Alarms   []firstAlarm
	Dials    []firstDial
}

type firstDial struct {
	Role         string
	Number, Unit string // empty where there is no fresh value
}

// serveIndex sends the page with the newest state in it, to whom may see one. "/?empty" is the page alone, to be kept on a phone.
func (s *Server) serveIndex(w http.ResponseWriter, r *http.Request) {
	var page bytes.Buffer
	look, nothing := s.firstLook(r)
	if err := s.assets.index.Execute(&page, indexView{s.assets.words, look, nothing}); err != nil {
		s.complain("page cannot write its first look", err)
		refuse(w, http.StatusInternalServerError, "the page cannot be written; see the daemon's log")
		return
	}
	h := w.Header()
	h.Set("Content-Security-Policy", s.assets.policy)
	h.Set("Content-Type", contentType(".html"))
	h.Set("Vary", "Accept-Encoding")
	body := page.Bytes()
	if acceptsGzip(r) {
		body = zip(body, gzip.BestSpeed)
		h.Set("Content-Encoding", "gzip")
	}
	h.Set("Content-Length", strconv.Itoa(len(body)))
	_, _ = w.Write(body) // a reader that has gone away needs no answer
}

// firstLook is nil where there is nothing new to show, or nobody who may see it, and then says why.
func (s *Server) firstLook(r *http.Request) (_ *firstLook, nothing string) {
	f, _ := s.newest()
	switch {
	case s.veil(r) != nil:
		return nil, "closed"
	case f == nil:
		return nil, "none"
	case r.URL.RawQuery == "empty" || f.ago(s.Now()) > s.site.oldAfter():
		return nil, "old"
	}
	snap := f.state.Snapshot
	look := &firstLook{}
	if f.state.Synced {
		look.At = snap.Time.In(s.site.zone()).Format("15:04:05, 2006-01-02") // which every language reads
	}
	scale := review.Scale{Fahrenheit: s.site.Display == "fahrenheit"}
	of := map[string][]firstAlarm{}
	for _, a := range snap.Alarms {
		if thresholds.Alarming(a.Event) && a.Severity >= alarm.Warning {
			text := a.Text
			if scale.Fahrenheit {
				text = exporter.FahrenheitFirst(text)
			}
			of[a.Nest] = append(of[a.Nest], firstAlarm{a.Severity, text})
		}
	}
	look.Site = of[""]
	for _, n := range snap.Nests {
		severity := n.Severity
		if over := pastLimit(n, snap.Alarms); over != nil && over.Urgent {
			severity = alarm.Urgent // though no alarm says so yet
		}
		look.Nests = append(look.Nests, firstNest{n.ID, severity, s.assets.words.says(n), of[n.ID], dials(n.Values, scale)})
	}
	slices.SortStableFunc(look.Nests, func(a, b firstNest) int { return cmp.Compare(b.Severity, a.Severity) })
	return look, ""
}

// says is what a card says of a nest beside its numbers.
func (w words) says(n thresholds.NestState) (out []string) {
	page := w["page"].(map[string]any) // which the template needs too
	word := func(group, name string) string {
		if said, ok := page[group].(map[string]any)[name].(string); ok {
			return said
		}
		return name
	}
	if n.Severity > alarm.None {
		out = append(out, word("severity", n.Severity.String()))
	}
	if past := pastLimit(n, nil); past != nil {
		out = append(out, word("pastLimit", past.Where))
	}
	for _, j := range n.Judged {
		if j.Judged {
			continue
		}
		danger := word("danger", j.Danger)
		if why := strings.TrimPrefix(j.Why, "not judged: "); why != "" {
			danger += " (" + why + ")"
		}
		out = append(out, strings.ReplaceAll(page["notJudged"].(string), "{danger}", danger))
	}
	return out
}

// dials are the two temperatures that a card shows large.
func dials(all []thresholds.Value, scale review.Scale) []firstDial {
	var out []firstDial
	for _, v := range all {
		if v.Quantity != sensors.Temperature || v.Role != thresholds.Cluster && v.Role != thresholds.Air {
			continue
		}
		d := firstDial{Role: string(v.Role)}
		if value := number(v.Value, v.Fresh); value != nil {
			d.Number, d.Unit = strconv.FormatFloat(scale.Of(*value), 'f', 1, 64), scale.Sign()
		}
		out = append(out, d)
	}
	return out
}
