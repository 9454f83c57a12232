package exporter

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"
)

// Backfill is a past range that a sink is sent once more, behind everything new. It is stored, and goes on after a restart.
type Backfill struct {
	From    time.Time `json:"from"`
	To      time.Time `json:"to"` // not in it
	Asked   time.Time `json:"asked"`
	Polls   int64     `json:"polls"`   // in the range when it was asked for
	Sent    int64     `json:"sent"`    // polls
	Refused int64     `json:"refused"` // readings
	After   int64     `json:"after"`   // key of the newest poll that is surely kept
	Ended   time.Time `json:"ended"`   // zero while it is under way
	Stopped bool      `json:"stopped"` // a person ended it
}

// Underway reports whether there is more to send.
func (b Backfill) Underway() bool { return b.Polls > 0 && b.Ended.IsZero() }

// PastStore is what sending the past once more needs of the archive.
type PastStore interface {
	PollsWithin(from, to time.Time, after int64, limit int) ([]StoredPoll, error) // from <= time < to, in rising order of key
	CountWithin(from, to time.Time, after int64) (int64, error)
	Oldest() (time.Time, error) // of the polls; zero when there are none
	Redeem(sink string, from, to, before time.Time) error
	Meta(key string) (string, error)
	SetMeta(key, value string) error
}

var errNoPast = errors.New("this sink takes no past readings; name one that does, such as influx")

// Resend makes the sink be sent the polls with from <= time < to once more. It returns what will be sent.
func (p *Pump) Resend(from, to time.Time) (Backfill, error) {
	if p.past == nil {
		return Backfill{}, errNoPast
	}
	b, err := p.past.ask(from, to)
	p.Wake()
	return b, err
}

// StopResending ends what Resend began, and returns how far it came.
func (p *Pump) StopResending() (Backfill, error) {
	if p.past == nil {
		return Backfill{}, errNoPast
	}
	return p.past.stop()
}

// past is the backfill of one sink. The fields below mu are locked by it.
type past struct {
	sink  string
	store PastStore
	now   func() time.Time
	log   *slog.Logger

	mu     sync.Mutex
	loaded bool
	job    Backfill
	trail  trail
}

func (p *past) key() string { return "backfill." + p.sink }

// load reads what was under way when the program ended.
func (p *past) load() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.loadLocked()
}

func (p *past) loadLocked() error {
	if p.loaded {
		return nil
	}
	text, err := p.store.Meta(p.key())
	if err != nil {
		return fmt.Errorf("reading what is to be sent again: %w", err)
	}
	p.loaded = true
	if text != "" {
		if err := json.Unmarshal([]byte(text), &p.job); err != nil {
			p.job = Backfill{}
			p.log.Warn("what was to be sent again cannot be read and is forgotten; ask for it anew: nestmon backfill", slog.Any("err", err))
		}
	}
	if !p.job.Underway() {
		return nil
	}
	p.trail = newTrail(p.job.After)
	left, err := p.store.CountWithin(p.job.From, p.job.To, p.job.After)
	p.job.Sent = max(0, p.job.Polls-left)
	return err
}

func (p *past) save() error {
	text, err := json.Marshal(p.job)
	if err == nil {
		err = p.store.SetMeta(p.key(), string(text))
	}
	if err != nil {
		return fmt.Errorf("storing what is to be sent again: %w", err)
	}
	return nil
}

const stamp = "2006-01-02 15:04 MST" // of times in an error, for people

func (p *past) ask(from, to time.Time) (Backfill, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if err := p.loadLocked(); err != nil {
		return Backfill{}, err
	}
	now := p.now()
	if p.job.Underway() {
		return Backfill{}, fmt.Errorf("readings of %s to %s are being sent again (%d of %d polls); wait for them, or end that with: nestmon backfill --stop",
			p.job.From.Format(stamp), p.job.To.Format(stamp), p.job.Sent, p.job.Polls)
	}
	if to.After(now) {
		return Backfill{}, fmt.Errorf("%s is in the future; end the range at %s or before: what is new is sent by itself", to.Format(stamp), now.In(to.Location()).Format(stamp))
	}
	n, err := p.store.CountWithin(from, to, 0)
	if err != nil {
		return Backfill{}, err
	}
	if n == 0 {
		oldest, err := p.store.Oldest()
		if err != nil {
			return Backfill{}, err
		}
		since := "and there is none at all"
		if !oldest.IsZero() {
			since = fmt.Sprintf("the oldest is of %s, and what was before is kept by the hour only, which is not sent", oldest.In(from.Location()).Format(stamp))
		}
		return Backfill{}, fmt.Errorf("the archive holds no poll from %s to %s: %s; name another range", from.Format(stamp), to.Format(stamp), since)
	}
	was := p.job
	p.job = Backfill{From: from, To: to, Asked: now, Polls: n}
	if err := p.save(); err != nil {
		p.job = was
		return Backfill{}, err
	}
	p.trail = newTrail(0)
	p.log.Info("sending past readings again", slog.Time("from", from), slog.Time("to", to), slog.Int64("polls", n))
	return p.job, nil
}

func (p *past) stop() (Backfill, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if err := p.loadLocked(); err != nil {
		return Backfill{}, err
	}
	if !p.job.Underway() {
		return Backfill{}, errors.New("nothing is being sent again; nestmon status shows what is")
	}
	p.job.Ended, p.job.Stopped = p.now(), true
	return p.job, p.save()
}

// report returns the newest job, nil when there was none.
func (p *past) report() *Backfill {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.job.Polls == 0 {
		return nil
	}
	b := p.job
	return &b
}

func (p *past) rewind() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.trail.rewind()
}

// underway returns the job and where it stands.
func (p *past) underway() (job Backfill, t trail, ok bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.job, p.trail, p.job.Underway()
}

// goesOn reports whether job was not ended meanwhile, by another one even. Call it with the lock.
func (p *past) goesOn(job Backfill) bool { return p.job.Underway() && p.job.Asked.Equal(job.Asked) }

// acknowledge notes polls that were delivered for that job.
func (p *past) acknowledge(job Backfill, polls []StoredPoll, refused int, now time.Time) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if !p.goesOn(job) {
		return
	}
	for _, poll := range polls {
		if p.trail.first(poll.Key) {
			p.job.Sent++
		}
	}
	p.job.Refused += int64(refused)
	p.trail.acknowledge(polls[len(polls)-1].Key, now)
}

// settle stores how far that job has surely come, and its end when that is all.
func (p *past) settle(job Backfill, now time.Time, age time.Duration, all bool) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if !p.goesOn(job) {
		return nil
	}
	if p.trail.ripe(now, age) {
		p.trail.settle(now)
		p.job.After = p.trail.settled
		if err := p.save(); err != nil {
			return err
		}
	}
	if !all || p.trail.settled < p.trail.acked {
		return nil
	}
	if err := p.store.Redeem(p.sink, p.job.From, p.job.To, p.job.Asked); err != nil {
		return fmt.Errorf("forgetting what was refused before: %w", err)
	}
	p.job.Ended = p.now()
	p.log.Info("past readings were sent again", slog.Int64("polls", p.job.Sent), slog.Int64("refused", p.job.Refused))
	return p.save()
}

// stepBack delivers the next part of what is to be sent once more. It reports whether there may be more.
func (r *readings) stepBack(ctx context.Context) (more bool, err error) {
	job, t, ok := r.past.underway()
	if !ok {
		return false, nil
	}
	polls, err := r.store.PollsWithin(job.From, job.To, t.acked, r.size())
	if err != nil {
		return false, fmt.Errorf("reading polls to send again after %d: %w", t.acked, err)
	}
	if len(polls) > 0 {
		refused, err := r.hand(ctx, polls, &t)
		if err != nil {
			return false, err
		}
		r.past.acknowledge(job, polls, refusedIn(refused), time.Now())
	}
	err = r.past.settle(job, time.Now(), r.opt.Settle, len(polls) == 0)
	r.ledger.resending(r.past.report())
	return len(polls) > 0, err
}
