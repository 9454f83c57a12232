package push

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"time"

	"nestmon/exporter"
	"nestmon/thresholds/alarm"
)

// Options are what a channel is made with.
type Options struct {
	Name  string         // in logs and on the page
	Level alarm.Severity // the lowest it carries
	Config
	Store Store
	Log   *slog.Logger     // nil: nothing is logged
	Now   func() time.Time // nil: time.Now
	Net   Net
}

// Channel calls every phone that has signed up. It may be used by any number of goroutines.
type Channel struct {
	opt     Options
	book    *book
	courier *courier

	mu    sync.Mutex
	waits map[string]wait // by phone's id
}

// wait is a phone that is not to be tried for a while.
type wait struct {
	outcome
	until time.Time
}

var (
	_ exporter.MessageSink = (*Channel)(nil)
	_ exporter.Phones      = (*Channel)(nil)
)

// New prepares a channel. At the first start it makes the key pair.
func New(o Options) (*Channel, error) {
	var wrong error
	o.Config.Validate(func(path, problem string) {
		wrong = errors.Join(wrong, fmt.Errorf("phone %s: push.%s %s", o.Name, path, problem))
	})
	if wrong != nil {
		return nil, wrong
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	c := &Channel{
		opt: o, waits: map[string]wait{},
		book:    &book{store: o.Store, log: o.Log, now: o.Now},
		courier: &courier{contact: o.Contact, client: o.Net.client(), now: o.Now, tokens: tokens{now: o.Now}},
	}
	if _, _, err := c.book.keys(); err != nil { // tried again by every call
		o.Log.Warn("phones cannot be called yet", "err", err)
	}
	return c, nil
}

// Name is the channel's.
func (c *Channel) Name() string { return c.opt.Name }

// trouble is an error that another try may cure.
type trouble struct {
	text  string
	wrong bool
}

func (t *trouble) Error() string       { return t.text }
func (t *trouble) Misconfigured() bool { return t.wrong }

var errNobody = &trouble{"nobody has signed up; open the page on the phone and sign it up under \"Alarms on this phone\"", true}

func lostError(label string, others int) error {
	more := ""
	if others > 0 {
		more = fmt.Sprintf(" (and %d more)", others)
	}
	return &trouble{fmt.Sprintf("the phone %q is no longer subscribed%s: open the page there and sign up again, or take it off the page's list of phones", label, more), true}
}

func (c *Channel) wrap(err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("phone %s: %w", c.opt.Name, err)
}

// Complaint says what a person should put right although no message waits: nobody has signed up, or a phone is no longer signed up.
func (c *Channel) Complaint() error { return c.wrap(c.book.complaint()) }

// Send delivers one message. It is delivered when every phone either has it or is gone, and one has it.
func (c *Channel) Send(ctx context.Context, m exporter.Message) error {
	if err := ctx.Err(); err != nil {
		return c.wrap(err)
	}
	if !m.Carried(c.opt.Level) {
		return nil
	}
	left, had, err := c.book.owed(m.ID)
	if err != nil {
		return c.wrap(err)
	}
	if len(left) == 0 && !had {
		return c.wrap(c.nobody())
	}
	took, gone, failed, err := c.callAll(ctx, left, m)
	if err != nil {
		return c.wrap(err)
	}
	had = had || len(took) > 0
	c.book.note(m.ID, took, gone, len(failed) > 0 || !had)
	for _, p := range gone {
		c.opt.Log.Warn("a phone is no longer subscribed and was taken off", "sink", c.opt.Name, "phone", p.Label)
	}
	switch {
	case len(failed) > 0:
		return c.wrap(together(failed))
	case !had:
		return c.wrap(c.nobody())
	}
	return nil
}

// nobody is why a message reached no phone at all.
func (c *Channel) nobody() error {
	if err := c.book.complaint(); err != nil {
		return err
	}
	return errNobody
}

// callAll calls all these phones at once.
func (c *Channel) callAll(ctx context.Context, phones []phone, m exporter.Message) (took, gone []phone, failed []outcome, err error) {
	private, public, err := c.book.keys()
	if err != nil {
		return nil, nil, nil, err
	}
	outcomes := make([]outcome, len(phones))
	var all sync.WaitGroup
	for i, p := range phones {
		all.Go(func() { outcomes[i] = c.call(ctx, private, public, p, m) })
	}
	all.Wait()
	for _, o := range outcomes {
		switch {
		case o.took:
			took = append(took, o.phone)
		case o.gone:
			gone = append(gone, o.phone)
		default:
			failed = append(failed, o)
		}
	}
	return took, gone, failed, nil
}

// call calls one phone, unless its push service asked for patience: then it says again what came of the last try.
func (c *Channel) call(ctx context.Context, private, public string, p phone, m exporter.Message) outcome {
	c.mu.Lock()
	last, waits := c.waits[p.id()]
	c.mu.Unlock()
	if waits && c.opt.Now().Before(last.until) {
		return last.outcome
	}
	out := c.courier.post(ctx, private, public, p, m)
	c.mu.Lock()
	defer c.mu.Unlock()
	if delete(c.waits, p.id()); out.after > 0 && !out.took && !out.gone {
		c.waits[p.id()] = wait{out, c.opt.Now().Add(out.after)}
	}
	return out
}

// together is what went wrong with all of these.
func together(failed []outcome) error {
	t := &trouble{wrong: true}
	var said []string
	for _, o := range failed {
		said = append(said, fmt.Sprintf("%q: %s", o.phone.Label, o.why))
		t.wrong = t.wrong && o.wrong
	}
	t.text = strings.Join(said, "; ")
	return t
}

// PublicKey is what a browser must be given to subscribe.
func (c *Channel) PublicKey() (string, error) {
	_, public, err := c.book.keys()
	return public, c.wrap(err)
}

// List tells which phones have signed up, and which are gone.
func (c *Channel) List() ([]exporter.Phone, error) {
	all, err := c.book.list()
	return all, c.wrap(err)
}

// Subscribe signs a phone up.
func (c *Channel) Subscribe(s exporter.Subscription) error {
	if err := c.opt.Net.check(s); err != nil {
		return err
	}
	return c.book.add(s)
}

// Unsubscribe takes a phone off, by its endpoint or by its id.
func (c *Channel) Unsubscribe(which exporter.Secret) error { return c.book.remove(which.Reveal()) }

// Test calls one phone, to show that it can be called.
func (c *Channel) Test(ctx context.Context, which exporter.Secret) error {
	p, err := c.book.find(which.Reveal())
	if err != nil {
		return err
	}
	now := c.opt.Now()
	m := exporter.Message{
		ID: "test-" + now.UTC().Format(time.RFC3339Nano), Time: now, Kind: exporter.Trial,
		Title: "Test: this phone can be called", Body: fmt.Sprintf("Alarms from %s up arrive on %q like this. No nest needs anything now because of it.", c.opt.Level, p.Label),
	}
	took, gone, failed, err := c.callAll(ctx, []phone{p}, m)
	if err != nil {
		return err
	}
	c.book.note(m.ID, took, gone, false)
	switch {
	case len(failed) > 0:
		return together(failed)
	case len(gone) > 0:
		return lostError(p.Label, 0)
	}
	return nil
}
