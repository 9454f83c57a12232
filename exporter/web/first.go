package web

import (
	"bytes"
	"cmp"
	"compress/gzip"
	"net/http"
	"slices"
	"strconv"

	"nestmon/sensors"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/review"
)

// indexView is what index.html is made of.
type indexView struct {
	Words words
	Look  *firstLook // or nil
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
	if err := s.assets.index.Execute(&page, indexView{s.assets.words, s.firstLook(r)}); err != nil {
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

// firstLook is nil where there is nothing new to show, or nobody who may see it.
func (s *Server) firstLook(r *http.Request) *firstLook {
	f, _ := s.newest()
	if r.URL.RawQuery == "empty" || f == nil || f.ago(s.Now()) > s.site.oldAfter() || s.veil(r) != nil {
		return nil
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
			of[a.Nest] = append(of[a.Nest], firstAlarm{a.Severity, a.Text})
		}
	}
	look.Site = of[""]
	for _, n := range snap.Nests {
		look.Nests = append(look.Nests, firstNest{n.ID, n.Severity, of[n.ID], dials(n.Values, scale)})
	}
	slices.SortStableFunc(look.Nests, func(a, b firstNest) int { return cmp.Compare(b.Severity, a.Severity) })
	return look
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
