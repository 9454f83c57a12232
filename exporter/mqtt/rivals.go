package mqtt

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"fmt"
	"sync"
	"time"

	"nestmon/sensors/broker"
)

// Two daemons of the same device would overwrite each other's tree for ever. So every installation has an id of its own, which it
// publishes in its tree, and each connection looks before it speaks:
//
//   - it asks, by a message that is not kept, who publishes as this device. Whoever does answers with its own id;
//   - where the broker keeps another's id and a $state that is neither lost nor disconnected, it waits for that one to be heard: by its
//     answer, or by the $state that it says again and again. Heard, it is left alone and a person is told. Not heard for long enough, it is
//     gone with the card that was replaced, and its tree is taken over;
//   - two that began at the same moment both hear the other's id: the higher one gives way.
//
// Two with the same id, a card that was copied, have the same client id too. The broker then ends the older connection at every new one;
// see truce.

// instanceKey is where an installation's id is kept.
const instanceKey = "mqtt.instance"

// instanceBytes make an id that no two of a house share by chance. Ours.
const instanceBytes = 4

// instance is this installation's id, made at its first start. One that could not be kept is good for this run.
func instance(store Store) (id string, err error) {
	if id, err = store.Meta(instanceKey); err != nil {
		return "", fmt.Errorf("reading %s: %w", instanceKey, err)
	}
	if id != "" {
		return id, nil
	}
	b := make([]byte, instanceBytes)
	_, _ = rand.Read(b) // never fails
	id = hex.EncodeToString(b)
	return id, store.SetMeta(instanceKey, id)
}

// rivals is what is known of other daemons that publish as the same device. It may be used from any goroutine.
type rivals struct {
	own string
	now func() time.Time
	// heardOf is poked when another was heard, and when one that was heard before is gone.
	heardOf chan struct{}
	answer  chan struct{} // somebody asks
	passed  chan struct{} // our own question has come back: what the broker keeps came before it

	mu     sync.Mutex
	spoken bool // we publish on this connection
	kept   string
	state  string
	other  string    // who was heard
	heard  time.Time // and when
	since  time.Time // since when there is a reason to wait
}

func newRivals(own string, now func() time.Time) *rivals {
	return &rivals{own: own, now: now, heardOf: make(chan struct{}, 1), answer: make(chan struct{}, 1), passed: make(chan struct{}, 1)}
}

// named takes an installation's id.
func (r *rivals) named(id string, retained bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.kept = id
	if id != "" && id != r.own && !retained {
		r.other, r.heard = id, r.now()
		poke(r.heardOf)
	}
}

// stated takes a $state, and reports whether it cannot be ours.
func (r *rivals) stated(state string, retained bool) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.spoken {
		return false
	}
	r.state = state
	switch {
	case retained:
	case free(state):
		poke(r.heardOf)
	case r.kept != "" && r.kept != r.own:
		r.other, r.heard = r.kept, r.now()
	}
	return true
}

// free reports whether nobody publishes who says so.
func free(state string) bool {
	return state == "" || state == stateLost || state == stateDisconnected
}

func (r *rivals) asked(who string) {
	if who == r.own {
		poke(r.passed)
	} else {
		poke(r.answer)
	}
}

// silence begins a connection on which nothing is published yet.
func (r *rivals) silence() {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.spoken, r.kept, r.state = false, "", ""
}

// yields reports whether we give way to who was heard while both publish.
func (r *rivals) yields() (to string, yes bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.other == "" {
		return "", false
	}
	if r.spoken && r.own < r.other {
		to, r.other = r.other, ""
		return to, false
	}
	return r.other, true
}

// contested reports whether another may publish as this device.
func (r *rivals) contested() bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.kept != "" && r.kept != r.own && !free(r.state)
}

// verdict lets us publish, or says why not. patience is how long another may be silent before it counts as gone.
func (r *rivals) verdict(where string, device string, patience time.Duration) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.kept == "" || r.kept == r.own || free(r.state) {
		r.spoken, r.other, r.since = true, "", time.Time{}
		return nil
	}
	now := r.now()
	if r.other != "" && now.Sub(r.heard) < patience {
		return broker.Wrong{Err: fmt.Errorf("%s: another nestmon publishes as device %q already (its installation is %s, this one %s); give each nestmon its own device, best by a site.id of its own: where two share that, InfluxDB mixes their readings for good",
			where, device, r.other, r.own)}
	}
	if r.since.IsZero() {
		r.since = now
	}
	if waited := now.Sub(r.since); waited < patience {
		return fmt.Errorf("%s: the broker keeps a tree of device %q by another installation (%s, this one is %s); waiting %v to hear whether that one lives",
			where, device, r.kept, r.own, (patience - waited).Round(time.Second))
	}
	r.spoken, r.other, r.since = true, "", time.Time{}
	return nil
}

// answerTime is how long a living daemon may take to answer, for the first error to be the clear one; what comes later counts too. Ours.
const answerTime = 500 * time.Millisecond

// claim makes sure, once for each connection, that nobody else publishes as this device.
func (c *Client) claim(connection int64) error {
	if c.claimed == connection {
		return nil
	}
	if c.listening != connection {
		c.link.rivals.silence()
		if err := c.link.listen(c.ctx, c.root); err != nil {
			return err
		}
		c.listening = connection
	}
	r := c.link.rivals
	for len(r.passed) > 0 {
		<-r.passed
	}
	if err := c.link.mention(c.ctx, Message{c.root.Topic(siteNode, instanceProperty, "set"), c.root.Instance}); err != nil {
		return err
	}
	// A broker that hides our own question hides the rest too; the check of $state says so.
	await(c.ctx, r.passed, c.o.Timing.Ack)
	if r.contested() {
		await(c.ctx, r.heardOf, answerTime)
	}
	if err := r.verdict("mqtt "+c.link.broker, c.root.Device, c.o.Timing.Yield); err != nil {
		return err
	}
	c.claimed = connection
	return nil
}

// await waits for a poke, at most so long.
func await(ctx context.Context, c <-chan struct{}, most time.Duration) {
	timer := time.NewTimer(most)
	defer timer.Stop()
	select {
	case <-c:
	case <-timer.C:
	case <-ctx.Done():
	}
}

// settleRivalry acts on another daemon that was heard.
func (c *Client) settleRivalry() {
	to, yes := c.link.rivals.yields()
	switch {
	case !c.born() && c.link.rivals.contested(): // as told already
	case !c.born():
		_ = c.update() // it is gone
	case yes:
		c.o.Log.Warn("another nestmon publishes as this device; this one gives way", "other", to)
		c.bornOn, c.claimed, c.listening = 0, 0, 0 // the next update listens, waits and says why
	case to != "":
		c.o.Log.Warn("another nestmon publishes as this device; give each its own", "other", to)
		c.bornOn = 0
		_ = c.update() // over what the other has published
	}
}
