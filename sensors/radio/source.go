package radio

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"slices"
	"sync"
	"time"

	"nestmon/sensors"
)

// mostWaiting is how many messages of one topic wait for the next Read; the oldest give way. Ours: a node that speaks every half second
// for a poll of 30 s.
const mostWaiting = 64

// mostIdle is how many of them may bring no value: whoever fills a topic with nonsense must not push out what the node says between. Ours: the newest is what
// a probe's fault is told by, and some more for the story of its silence.
const mostIdle = 4

var _ sensors.Source = (*Source)(nil)

// Source is one broker with the probes that publish on it.
type Source struct {
	Now    func() time.Time // time.Now unless set before the first Read
	Timing Timing           // DefaultTiming unless set before the first Read

	config Config
	client string // the id
	probes []*probe
	topics []string
	log    *slog.Logger
	told   *sensors.ChangeLog

	begin  sync.Once
	ctx    context.Context // ends with Close
	cancel context.CancelFunc
	done   chan struct{} // the connection's goroutine has ended

	mu      sync.Mutex // guards what follows
	inbox   map[string][]message
	problem error            // why there is no connection, nil while there is one
	refused map[string]error // topics the broker does not let us read
	alive   time.Time        // when this process was last seen to run, by the runtime's clock
	heard   uint64           // number of the connection that is listened to; an earlier one may still deliver
}

// New makes a source of the probes on one broker; site is the id that tells this nestmon from another. Nothing is connected until the
// first Read, and files are read with each connection.
func New(config Config, site string, probes []ProbeConfig, poll time.Duration, log *slog.Logger) (*Source, error) {
	var problems []error
	config.Validate(func(path, problem string) {
		problems = append(problems, fmt.Errorf("radio: %s: %s", path, problem))
	})
	var bound sensors.Bindings
	s := &Source{
		Now: time.Now, Timing: DefaultTiming(), config: config, client: config.clientID(site), log: log, told: sensors.NewChangeLog(log),
		done: make(chan struct{}), inbox: map[string][]message{}, refused: map[string]error{},
	}
	for _, c := range probes {
		c.Validate(bound.Report(c.ID))
		for _, place := range c.Places() {
			bound.Bind(c.ID, "topic", place, "another topic or pointer")
		}
		s.probes = append(s.probes, newProbe(c, poll))
		if !slices.Contains(s.topics, c.Topic) {
			s.topics = append(s.topics, c.Topic)
		}
	}
	if err := errors.Join(errors.Join(problems...), bound.Err()); err != nil {
		return nil, err
	}
	s.problem = fmt.Errorf("radio %s: not connected yet", s.host())
	s.ctx, s.cancel = context.WithCancel(context.Background())
	return s, nil
}

// Bus is radio.
func (s *Source) Bus() string { return Kind }

// Linked reports whether the broker is connected.
func (s *Source) Linked() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.problem == nil
}

// Probes lists the probes in the order of the configuration.
func (s *Source) Probes() []sensors.Probe {
	all := make([]sensors.Probe, len(s.probes))
	for i, p := range s.probes {
		all[i] = p.Probe
	}
	return all
}

// Read tells what came since the last Read, and which probes are overdue. It waits for nothing.
//
// The first Read says of every probe that it settles, for it has not spoken yet; from then on its silence counts.
func (s *Source) Read(context.Context) []sensors.Reading {
	now, first := s.Now(), false
	s.begin.Do(func() {
		first = true
		go s.run()
	})
	messages, refused, problem := s.collect()
	for _, m := range messages {
		for _, p := range s.probes {
			if p.topic == m.topic {
				p.take(m, now)
			}
		}
	}
	readings := make([]sensors.Reading, 0, len(s.probes))
	for _, p := range s.probes {
		for _, c := range p.channels {
			if first {
				c.since = now
			}
			if s.ctx.Err() != nil {
				c.told = []telling{c.missing(p, now, sensors.BusDown, nil)}
			}
			switch {
			case len(c.told) > 0:
			case first:
				c.told = []telling{c.missing(p, now, sensors.Settling, nil)}
			case c.overdue(p, now):
				c.told = []telling{s.silent(p, c, now, problem, refused[p.topic])}
			}
			for i, t := range c.told {
				if i == len(c.told)-1 && t.reading.Fault != sensors.BusDown && !first { // the connection's own line says why the bus is down
					s.told.Note(t.reading, t.cause)
				}
				readings = append(readings, t.reading)
			}
			c.told = nil
		}
	}
	return readings
}

// silent is the reading of a channel that should have had a value by now.
func (s *Source) silent(p *probe, c *channel, now time.Time, problem, refused error) telling {
	switch {
	case problem != nil:
		return c.missing(p, now, sensors.BusDown, problem)
	case refused != nil:
		return c.missing(p, now, sensors.NoAnswer, refused)
	}
	return c.missing(p, now, sensors.NoAnswer, fmt.Errorf("radio %s: %s; is the node alive, and may user %s read the topic? Some brokers hide it without a word",
		c.place(p), c.silence(p, now), s.user()))
}

func (c *channel) missing(p *probe, now time.Time, f sensors.Fault, cause error) telling {
	return telling{sensors.Reading{Probe: p.ID, Quantity: c.quantity, Time: now, Fault: f}, cause}
}

// collect empties the inbox, topic by topic.
func (s *Source) collect() (messages []message, refused map[string]error, problem error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, topic := range s.topics {
		messages = append(messages, s.inbox[topic]...)
	}
	clear(s.inbox)
	return messages, maps.Clone(s.refused), s.problem
}

// receive puts a message of a connection into the inbox. It is called by the library and must not wait.
func (s *Source) receive(number uint64, topic string, payload []byte, retained bool) {
	m := message{topic: topic, payload: payload, came: s.Now()}
	m.tells = s.tells(m)
	s.mu.Lock()
	defer s.mu.Unlock()
	switch {
	case number != s.heard:
		return
	case retained:
		m.old = leftover
	case s.stoodStill():
		m.old = standstill
	}
	waiting := append(s.inbox[topic], m)
	idle := 0
	for _, w := range waiting {
		if !w.tells {
			idle++
		}
	}
	if idle > mostIdle {
		oldest := slices.IndexFunc(waiting, func(w message) bool { return !w.tells })
		waiting = slices.Delete(waiting, oldest, oldest+1)
	}
	s.inbox[topic] = waiting[max(0, len(waiting)-mostWaiting):]
}

// tells reports whether a message brings a value of any probe. It asks only what never changes of them.
func (s *Source) tells(m message) (yes bool) {
	defer func() {
		if recover() != nil {
			yes = true // Read meets it again, and whoever calls that is ready for it
		}
	}()
	return slices.ContainsFunc(s.probes, func(p *probe) bool { return p.topic == m.topic && p.finds(m) })
}

// stoodStill reports whether this process did not run for a while; what lay in its socket may then be old. The caller holds the lock.
func (s *Source) stoodStill() bool { return time.Since(s.alive) > s.Timing.Standstill }

// Close ends the connection and makes further reads answer with faults.
func (s *Source) Close() error {
	s.cancel()
	s.begin.Do(func() { close(s.done) }) // never connected
	select {
	case <-s.done:
	case <-time.After(closeLimit):
	}
	return nil
}
