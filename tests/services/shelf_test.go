package services_test

import (
	"sync"
	"time"

	"nestmon/exporter"
	"nestmon/sensors"
)

// past is a store without one: what is sent again is tested with the archive.
type past struct{ exporter.PastStore }

func (past) Meta(string) (string, error) { return "", nil }

// shelf is a store in memory. Its fields are locked by mu.
type shelf struct {
	mu     sync.Mutex
	polls  []exporter.StoredPoll
	cursor int64

	past

	aside []exporter.StoredPoll
	why   []string
}

func (s *shelf) Polls(after int64, limit int) (got []exporter.StoredPoll, err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, p := range s.polls {
		if p.Key > after && len(got) < limit {
			got = append(got, p)
		}
	}
	return got, nil
}

func (s *shelf) Cursor(string) (int64, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.cursor, nil
}

func (s *shelf) SetCursor(_ string, key int64) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.cursor = key
	return nil
}

func (s *shelf) SetRefused(_ string, polls []exporter.RefusedPoll) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, p := range polls {
		s.aside, s.why = append(s.aside, p.StoredPoll), append(s.why, p.Reason)
	}
	return nil
}

func (s *shelf) Backlog(after int64, limit int) (upTo, readings int64, err error) {
	polls, err := s.Polls(after, limit)
	for upTo = after; len(polls) > 0; polls = polls[1:] {
		upTo, readings = polls[0].Key, readings+int64(len(polls[0].Readings))
	}
	return upTo, readings, err
}

func (s *shelf) Pruned(string) uint64 { return 0 }

// add stores n polls, 30 s apart, after those that are there; the first of all is at from.
func (s *shelf) add(n int, from time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for range n {
		key := int64(len(s.polls) + 1)
		when := from.Add(time.Duration(key) * 30 * time.Second).Truncate(time.Second)
		r := func(probe string, q sensors.Quantity, v float64) sensors.Reading {
			return sensors.Reading{Probe: probe, Quantity: q, Time: when, Value: q.Quantise(v)}
		}
		s.polls = append(s.polls, exporter.StoredPoll{Key: key, Time: when, Readings: []sensors.Reading{
			r("a1-air", sensors.Temperature, 20+float64(key)/100), r("a1-air", sensors.Humidity, 50+float64(key%7)),
			r("a1-cluster", sensors.Temperature, 37-float64(key)/100),
		}})
	}
}

// want is every point of the store except those set aside.
func (s *shelf) want() map[point]bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	all := map[point]bool{}
	for _, p := range s.polls {
		for _, r := range p.Readings {
			all[point{r.Probe, r.Quantity.String(), r.Time.Unix(), r.Value}] = true
		}
	}
	for _, p := range s.aside {
		for _, r := range p.Readings {
			delete(all, point{r.Probe, r.Quantity.String(), r.Time.Unix(), r.Value})
		}
	}
	return all
}

func (s *shelf) at() int64 { key, _ := s.Cursor(""); return key }
