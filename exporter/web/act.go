package web

import (
	"fmt"
	"net/http"
	"slices"
	"time"

	"nestmon/exporter"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
)

const nobody = "nobody here takes what is done on this page; use the commands, or the page of the running daemon"

func (s *Server) serveAct(w http.ResponseWriter, r *http.Request) {
	body, ok := taken[actBody](w, r)
	if !ok {
		return
	}
	act, err := body.act()
	if err != nil {
		refuse(w, http.StatusBadRequest, err.Error())
		return
	}
	st := s.place(w, body.Nest)
	if st == nil {
		return
	}
	if act.Action == alarm.Acknowledge && act.Event != "" {
		if act.Worst = stands(st.Snapshot, body); act.Worst == alarm.None {
			refuse(w, http.StatusConflict, "this alarm has changed since it was shown; look again, then acknowledge what stands now")
			return
		}
	}
	ctx, cancel := within(r, doPatience)
	defer cancel()
	s.done(w, s.Options.Keeper.Act(ctx, act))
}

func (s *Server) serveDone(w http.ResponseWriter, r *http.Request) {
	body, ok := taken[placeBody](w, r)
	if !ok {
		return
	}
	if !slices.Contains(alarm.Names, body.Event) || !body.Event.Chore() {
		refuse(w, http.StatusBadRequest, fmt.Sprintf("there is no such chore; send one such as %s", alarm.InspectDue))
		return
	}
	if s.place(w, body.Nest) == nil {
		return
	}
	ctx, cancel := within(r, doPatience)
	defer cancel()
	s.done(w, s.Options.Keeper.Done(ctx, body.Nest, body.Event, by))
}

// place returns the newest state when it has that nest and somebody takes what is done about it; empty is the site. Nil means answered.
func (s *Server) place(w http.ResponseWriter, nest string) *exporter.State {
	f, _ := s.newest()
	switch {
	case s.Options.Keeper == nil:
		refuse(w, http.StatusServiceUnavailable, nobody)
	case f == nil:
		refuse(w, http.StatusServiceUnavailable, "nothing has been measured yet; try again in a moment")
	case nest != "" && !slices.ContainsFunc(f.state.Snapshot.Nests, func(n thresholds.NestState) bool { return n.ID == nest }):
		refuse(w, http.StatusUnprocessableEntity, "there is no such nest; load the page again")
	default:
		return f.state
	}
	return nil
}

// stands is how bad the alarm is that a person saw, None where it is not the one that stands now: another time means that it was raised anew.
// A poll may be under way, and the Keeper refuses what grows worse by it.
func stands(now thresholds.Snapshot, seen actBody) alarm.Severity {
	for _, st := range slices.Concat(now.Alarms, now.Quiet) {
		if st.Nest == seen.Nest && st.Name == seen.Event && st.Since.Equal(seen.Since) && st.Time.Equal(seen.Time) {
			return st.Severity
		}
	}
	return alarm.None
}

// done answers when something is stored, or says why it is not. What a Keeper says is for persons.
func (s *Server) done(w http.ResponseWriter, err error) {
	if err != nil {
		refuse(w, http.StatusUnprocessableEntity, err.Error())
		return
	}
	answer(w, []byte(`{"ok":true}`))
}

type testedView struct {
	Channels map[string]string `json:"channels"` // what went wrong, empty where the message arrived
}

func (s *Server) serveTest(w http.ResponseWriter, r *http.Request) {
	body, ok := taken[testBody](w, r)
	if !ok {
		return
	}
	if s.Options.Test == nil {
		refuse(w, http.StatusServiceUnavailable, nobody)
		return
	}
	select {
	case s.testing <- struct{}{}:
		defer func() { <-s.testing }()
	default:
		refuse(w, http.StatusTooManyRequests, "a test is under way; wait for it")
		return
	}
	control := http.NewResponseController(w) // a slow channel may take longer than a request otherwise can
	_ = control.SetWriteDeadline(time.Now().Add(testPatience + s.times.write))
	ctx, cancel := within(r, testPatience)
	defer cancel()
	said, err := s.Options.Test(ctx, body.Channel)
	if err != nil {
		refuse(w, http.StatusUnprocessableEntity, err.Error())
		return
	}
	if said == nil {
		said = map[string]string{}
	}
	s.answerJSON(w, testedView{said})
}
