package web

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"net/http"
	"regexp"
	"strings"

	"nestmon/exporter"
	"nestmon/thresholds/alarm"
)

// linkToken is what a token looks like. What does not is wrong, and nobody is asked about it.
var linkToken = regexp.MustCompile(`^[A-Za-z0-9_-]{20,128}$`)

// answerView is one answer page.
type answerView struct {
	Hash    string // of the page's files
	Words   words
	Verdict string // ask, done, used, over, worse, unknown, wait, failed
	Why     string // the Keeper's own words, where there are any
	Wait    int    // s
	Message exporter.Message
}

// serveAnswer shows what a message was about, and acknowledges it when its button is pressed. Looking changes nothing: what scans mail and
// shows previews looks at every link. The token is all that is asked for, and is written nowhere.
func (s *Server) serveAnswer(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("X-Robots-Tag", "noindex")
	token, from := r.PathValue("token"), origin(r.RemoteAddr)
	if s.Options.Keeper == nil {
		s.showAnswer(w, http.StatusServiceUnavailable, answerView{Verdict: "failed", Why: nobody})
		return
	}
	if wait := s.links.take(from, s.Now()); wait > 0 {
		slowDown(w, wait)
		s.showAnswer(w, http.StatusTooManyRequests, answerView{Verdict: "wait", Wait: int(math.Ceil(wait.Seconds()))})
		return
	}
	v, err := s.ask(r, token)
	if !errors.Is(err, exporter.ErrLinkUnknown) {
		s.links.giveBack(from)
	}
	status := http.StatusOK
	if err != nil {
		status, v.Verdict, v.Why = outcome(err)
	}
	s.showAnswer(w, status, v)
}

// ask tells what a token is about, and uses it up where the request says so.
func (s *Server) ask(r *http.Request, token string) (v answerView, err error) {
	if !linkToken.MatchString(token) {
		return v, exporter.ErrLinkUnknown
	}
	ctx, cancel := within(r, doPatience)
	defer cancel()
	v.Verdict = "ask"
	v.Message, err = s.Options.Keeper.Asked(ctx, token)
	v.Message.Body = withoutLink(v.Message.Body, token)
	if err != nil || r.Method != http.MethodPost {
		return v, err
	}
	v.Verdict = "done"
	return v, s.Options.Keeper.Answer(ctx, token)
}

// withoutLink is a message without its last paragraph where that asks to open the page that shows it.
func withoutLink(body, token string) string {
	if !strings.HasSuffix(body, token) {
		return body
	}
	return body[:max(0, strings.LastIndex(body, "\n\n"))]
}

// outcome is how a link that is not good is told; why is what the Keeper says beyond that.
func outcome(err error) (status int, verdict, why string) {
	for _, o := range []struct {
		err     error
		status  int
		verdict string
	}{
		{exporter.ErrLinkUnknown, http.StatusNotFound, "unknown"},
		{exporter.ErrLinkUsed, http.StatusGone, "used"},
		{exporter.ErrLinkSeen, http.StatusGone, "seen"},
		{exporter.ErrLinkTooOld, http.StatusGone, "over"},
		{alarm.ErrOver, http.StatusGone, "ended"},
		{alarm.ErrWorse, http.StatusConflict, "worse"},
	} {
		if errors.Is(err, o.err) {
			if err.Error() != o.err.Error() { // else the page says it already
				why = err.Error()
			}
			return o.status, o.verdict, why
		}
	}
	return http.StatusServiceUnavailable, "failed", err.Error()
}

func (s *Server) showAnswer(w http.ResponseWriter, status int, v answerView) {
	v.Hash, v.Words = s.assets.hash, s.assets.words
	var page bytes.Buffer
	if err := s.assets.answer.Execute(&page, v); err != nil {
		s.complain("page cannot write an answer", errors.New("its template fails")) // the error may hold the token
		refuse(w, http.StatusInternalServerError, "the page cannot be written; acknowledge it on the page of nestmon")
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Content-Length", fmt.Sprint(page.Len()))
	w.WriteHeader(status)
	_, _ = w.Write(page.Bytes()) // a reader that has gone away needs no answer
}

// plain is an event in a list of several.
func plain(e alarm.Event) string {
	if e.Nest == "" {
		return e.Name.Plain()
	}
	return e.Nest + ": " + e.Name.Plain()
}
