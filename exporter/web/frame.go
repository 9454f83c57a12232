package web

import (
	"encoding/json"
	"fmt"
	"sync"
	"time"

	"nestmon/exporter"
)

// frame is one published state. It is turned into JSON once, when somebody first looks: an accelerated demonstration
// publishes far more states than anybody sees.
type frame struct {
	seq   uint64
	at    time.Time // when it was published, by this machine's clock
	state *exporter.State

	once sync.Once
	body []byte
	err  error
}

// json returns the state's object as it is at now.
func (f *frame) json(s *Server, now time.Time) ([]byte, error) {
	f.once.Do(func() { f.body, f.err = json.Marshal(s.view(f.state)) })
	if f.err != nil {
		return nil, f.err
	}
	head := fmt.Appendf(nil, `{"published_ago_s":%.1f,"seq":%d,`, f.ago(now).Seconds(), f.seq)
	return append(head, f.body[1:]...), nil // view is never empty, so its brace is followed by a member
}

func (f *frame) ago(now time.Time) time.Duration { return max(now.Sub(f.at), 0) }
