package services_test

import (
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/mqtt"
	"nestmon/exporter/mqtt/proxytest"
)

// installation is what one card keeps.
type installation struct {
	mu    sync.Mutex
	texts map[string]string
}

func newCard() *installation { return &installation{texts: map[string]string{}} }

func (i *installation) Meta(key string) (string, error) {
	i.mu.Lock()
	defer i.mu.Unlock()
	return i.texts[key], nil
}

func (i *installation) SetMeta(key, value string) error {
	i.mu.Lock()
	defer i.mu.Unlock()
	i.texts[key] = value
	return nil
}

func on(card *installation) func(*mqtt.Options) {
	return func(o *mqtt.Options) { o.Store = card }
}

const inUse = "give each nestmon its own device"

// TestMosquittoDeviceInUse: the second daemon of a device says so and leaves the first alone; when the first dies, it takes over by itself.
func TestMosquittoDeviceInUse(t *testing.T) {
	t.Parallel()
	b := startMosquitto(t)
	p := proxytest.Start(t, b.addr)
	first := publisher(t, "tcp://"+p.Addr(), nil)
	publishUntil(t, first, nests(38, 25))
	o := observe(t, b.addr, nil)
	eventually(t, "the tree of the first", func() bool { return o.holds()[barnInstance] != "" })
	owner := o.holds()[barnInstance]
	second := publisher(t, "tcp://"+b.addr, nil)
	failure(t, second, inUse)
	if err := second.Publish(t.Context(), nests(30, 20)); !exporter.IsMisconfigured(err) {
		t.Errorf("a person must mend it: %v", err)
	}
	stands := len(o.said(barnState))
	eventually(t, "the first goes on saying so", func() bool { return len(o.said(barnState)) >= stands+4 })
	for _, said := range o.said(barnState) {
		if said != "ready" {
			t.Errorf("$state became %s", said)
		}
	}
	if got := o.holds()[barn+"/n0/air-temperature"]; got != "25" || o.holds()[barnInstance] != owner {
		t.Errorf("the second published %q", got)
	}
	p.Cut()
	eventually(t, "the second has taken over", func() bool {
		return o.holds()[barnInstance] != owner && o.holds()[barnState] == "ready" && o.holds()[barn+"/n0/air-temperature"] == "20"
	})
	p.Pass()
	failure(t, first, inUse) // and leaves that one alone in its turn
	wantRetained(t, b.addr, nests(30, 20))
	if err := first.Close(t.Context()); err != nil {
		t.Error(err)
	}
	publishUntil(t, second, nests(31, 20))
	wantRetained(t, b.addr, nests(31, 20)) // the other's end says nothing of it
}

// TestMosquittoReplacedCard: a new installation takes over what one that is gone has left, at once where the broker knows that it is gone.
func TestMosquittoReplacedCard(t *testing.T) {
	t.Parallel()
	for _, left := range []string{"lost", "disconnected", "ready"} {
		t.Run(left, func(t *testing.T) {
			b := startMosquitto(t)
			send := sender(t, b.addr, nil)
			send(barnInstance, 1, true, "0dd0dd00")
			send(barnState, 1, true, left)
			c := publisherWith(t, "tcp://"+b.addr, func(o *mqtt.Options) { o.Timing.Reassert = time.Hour }) // each try is one of ours
			if left == "ready" {                                                                            // whether it lives nobody can know yet
				var err error
				eventually(t, "an error with waiting", func() bool {
					err = c.Publish(t.Context(), nests(37, 22))
					return err != nil && strings.Contains(err.Error(), "waiting")
				})
				if exporter.IsMisconfigured(err) {
					t.Errorf("nobody can mend that: %v", err)
				}
			}
			publishUntil(t, c, nests(37, 22))
			wantRetained(t, b.addr, nests(37, 22))
		})
	}
}

// TestMosquittoTwoAtOnce: two of the same device that begin together. One stays, and the other says why not.
func TestMosquittoTwoAtOnce(t *testing.T) {
	b := prepareMosquitto(t)
	all := []*mqtt.Client{publisher(t, "tcp://"+b.addr, nil), publisher(t, "tcp://"+b.addr, nil)}
	for i, c := range all {
		if err := c.Publish(t.Context(), nests(float64(30+i), 20)); err == nil {
			t.Fatal("published without a broker")
		}
	}
	b.start(t)
	var errs [2]error
	eventually(t, "one publishes and one does not", func() bool {
		for i, c := range all {
			errs[i] = c.Publish(t.Context(), nests(float64(30+i), 20))
		}
		return (errs[0] == nil) != (errs[1] == nil) && (exporter.IsMisconfigured(errs[0]) || exporter.IsMisconfigured(errs[1]))
	})
	stays := slices.Index(errs[:], nil)
	wantRetained(t, b.addr, nests(float64(30+stays), 20))
	for range 5 {
		time.Sleep(100 * time.Millisecond) // polls
		if err := all[stays].Publish(t.Context(), nests(float64(30+stays), 20)); err != nil {
			t.Errorf("the one that stayed is thrown out: %v", err)
		}
	}
}

// TestMosquittoCopiedCard: two with one card's contents have one client id, and the broker throws each out for the other. They stop.
func TestMosquittoCopiedCard(t *testing.T) {
	t.Parallel()
	b := startMosquitto(t)
	card := newCard()
	clients := []*mqtt.Client{publisherWith(t, "tcp://"+b.addr, on(card))}
	publishUntil(t, clients[0], nests(38, 25))
	o := observe(t, b.addr, nil)
	clients = append(clients, publisherWith(t, "tcp://"+b.addr, on(card)))
	var told error
	eventually(t, "one of the two is told", func() bool {
		for _, c := range clients {
			if err := c.Publish(t.Context(), nests(38, 25)); exporter.IsMisconfigured(err) && strings.Contains(err.Error(), "another client may use the id") {
				told = err
			}
		}
		return told != nil
	})
	if !strings.Contains(told.Error(), "no copy of another's data folder") {
		t.Errorf("it says %v", told)
	}
	eventually(t, "the other has the tree", func() bool { return o.holds()[barnState] == "ready" })
	before := slices.Clone(o.said(barnState))
	eventually(t, "and keeps it", func() bool { return len(o.said(barnState)) >= len(before)+6 })
	for _, said := range o.said(barnState)[len(before):] {
		if said != "ready" {
			t.Errorf("$state became %s", said)
		}
	}
}
