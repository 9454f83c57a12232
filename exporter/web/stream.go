package web

import (
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"sync"
	"time"
)

// Of all streams, ours, no source.
const (
	streamRetry = 2 * time.Second // what the browser waits before it comes back
	maxStreams  = 128             // at once: a hundred that somebody left open, and the screens of a home
)

// streams are those that are open, the oldest first.
type streams struct {
	mu  sync.Mutex
	all []*opened
}

type opened struct {
	from string        // whose it is, see origin
	over chan struct{} // closed when another takes its place
}

// open adds one. Nobody is refused: where there are too many, the oldest ends of whoever has the most, and a page that still looks comes back.
func (s *streams) open(from string) *opened {
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.all) >= maxStreams {
		has, most := map[string]int{}, 0
		for _, o := range s.all {
			has[o.from]++
			most = max(most, has[o.from])
		}
		i := slices.IndexFunc(s.all, func(o *opened) bool { return has[o.from] == most })
		close(s.all[i].over)
		s.all = slices.Delete(s.all, i, i+1)
	}
	o := &opened{from, make(chan struct{})}
	s.all = append(s.all, o)
	return o
}

func (s *streams) close(o *opened) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.all = slices.DeleteFunc(s.all, func(have *opened) bool { return have == o })
}

// serveStream sends every new state, or the newest where they come too fast, until the reader goes away. A state is whole, so a reader
// that comes back has missed nothing that still matters: it is sent the newest unless Last-Event-ID says that it has it.
func (s *Server) serveStream(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	h.Set("Content-Type", "text/event-stream")
	h.Set("X-Accel-Buffering", "no") // a proxy in between must not collect events
	if r.Method == http.MethodHead {
		return
	}
	o := s.streams.open(origin(r.RemoteAddr))
	defer s.streams.close(o)
	out := eventWriter{w, http.NewResponseController(w), s.times.write}
	if !out.send(fmt.Sprintf("retry: %d\n\n", streamRetry.Milliseconds())) {
		return
	}
	have := r.Header.Get("Last-Event-ID")
	beat := time.NewTicker(s.times.beat)
	defer beat.Stop()
	for s.veil(r) == nil {
		f, changed := s.newest()
		if f != nil && s.eventID(f) != have {
			if !s.sendState(out, f) {
				return
			}
			have = s.eventID(f)
			beat.Reset(s.times.beat)
			if !s.pause(r, o) {
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
		case <-o.over:
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

// beat says which state the reader already has, and how old it is.
func (s *Server) beat(f *frame) string {
	if f == nil {
		return "{}"
	}
	started, _ := json.Marshal(instant(f.state.Started)) // a time of this clock marshals
	return fmt.Sprintf(`{"published_ago_s":%.1f,"seq":%d,"started":%s}`, f.ago(s.Now()).Seconds(), f.seq, started)
}

// eventID differs between runs of the daemon, whose counts all begin at one.
func (s *Server) eventID(f *frame) string {
	return strconv.FormatInt(f.state.Started.Unix(), 36) + "-" + strconv.FormatUint(f.seq, 10)
}

// pause waits until the next state may be sent and reports false when the stream must end.
func (s *Server) pause(r *http.Request, o *opened) bool {
	t := time.NewTimer(s.times.gap)
	defer t.Stop()
	select {
	case <-t.C:
		return true
	case <-r.Context().Done():
	case <-o.over:
	case <-s.closing:
	}
	return false
}

type eventWriter struct {
	w    http.ResponseWriter
	rc   *http.ResponseController
	wait time.Duration
}

// send writes one event and reports whether the reader took it. A reader that takes nothing for so long is gone.
func (e eventWriter) send(event string) bool {
	_ = e.rc.SetWriteDeadline(time.Now().Add(e.wait)) // not every writer has deadlines, and none needs one to be correct
	if _, err := e.w.Write([]byte(event)); err != nil {
		return false
	}
	return e.rc.Flush() == nil
}
