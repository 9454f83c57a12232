package web

import (
	"fmt"
	"net/http"
	"strconv"
	"time"
)

// Times of a stream, ours, no source, save that the page must notice a broken one within 15 s: three beats fit into that.
const (
	streamGap   = 500 * time.Millisecond // least time between two states: an accelerated demonstration publishes hundreds per second
	streamBeat  = 5 * time.Second        // longest silence
	streamRetry = 2 * time.Second        // what the browser waits before it comes back
)

// serveStream sends every new state, or the newest where they come too fast, until the reader goes away. A state is whole, so a reader
// that comes back has missed nothing that still matters: it is sent the newest unless Last-Event-ID says that it has it.
func (s *Server) serveStream(w http.ResponseWriter, r *http.Request) {
	select {
	case s.streams <- struct{}{}:
		defer func() { <-s.streams }()
	default:
		w.Header().Set("Retry-After", "5")
		refuse(w, http.StatusServiceUnavailable, fmt.Sprintf("%d pages are open already; close one", maxStreams))
		return
	}
	h := w.Header()
	h.Set("Content-Type", "text/event-stream")
	h.Set("X-Accel-Buffering", "no") // a proxy in between must not collect events
	if r.Method == http.MethodHead {
		return
	}
	out := eventWriter{w, http.NewResponseController(w)}
	if !out.send(fmt.Sprintf("retry: %d\n\n", streamRetry.Milliseconds())) {
		return
	}
	have := r.Header.Get("Last-Event-ID")
	beat := time.NewTicker(streamBeat)
	defer beat.Stop()
	for {
		f, changed := s.newest()
		if f != nil && s.eventID(f) != have {
			if !s.sendState(out, f) {
				return
			}
			have = s.eventID(f)
			beat.Reset(streamBeat)
			if !s.pause(r, streamGap) {
				return
			}
			continue
		}
		select {
		case <-changed:
		case <-beat.C:
			if !out.send("event: beat\ndata: " + s.beat(f) + "\n\n") {
				return
			}
		case <-r.Context().Done():
			return
		case <-s.closing:
			return
		}
	}
}

func (s *Server) sendState(out eventWriter, f *frame) bool {
	body, err := f.json(s, s.Now())
	if err != nil {
		s.complain("page cannot write the state", err)
		return false
	}
	return out.send("event: state\nid: " + s.eventID(f) + "\ndata: " + string(body) + "\n\n")
}

// beat says how old the state is that the reader already has.
func (s *Server) beat(f *frame) string {
	if f == nil {
		return "{}"
	}
	return fmt.Sprintf(`{"published_ago_s":%.1f}`, f.ago(s.Now()).Seconds())
}

// eventID differs between runs of the daemon, whose counts all begin at one.
func (s *Server) eventID(f *frame) string {
	return strconv.FormatInt(f.state.Started.Unix(), 36) + "-" + strconv.FormatUint(f.seq, 10)
}

// pause waits for d and reports false when the stream must end.
func (s *Server) pause(r *http.Request, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return true
	case <-r.Context().Done():
	case <-s.closing:
	}
	return false
}

type eventWriter struct {
	w  http.ResponseWriter
	rc *http.ResponseController
}

// send writes one event and reports whether the reader took it. A reader that takes nothing for writeTimeout is gone.
func (e eventWriter) send(event string) bool {
	_ = e.rc.SetWriteDeadline(time.Now().Add(writeTimeout)) // not every writer has deadlines, and none needs one to be correct
	if _, err := e.w.Write([]byte(event)); err != nil {
		return false
	}
	return e.rc.Flush() == nil
}
