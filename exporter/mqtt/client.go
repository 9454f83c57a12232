package mqtt

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"runtime/debug"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"nestmon/exporter"
)

// The values of $state that are used.
const (
	stateInit         = "init"
	stateReady        = "ready"
	stateDisconnected = "disconnected" // said at a clean stop
	stateLost         = "lost"         // said by the broker: the will
	stateAlert        = "alert"        // ready, and a probe gives no data; of Homie 4
)

// Timing holds every time that matters. Tests shorten them.
type Timing struct {
	KeepAlive    time.Duration // a broker drops a client after one and a half of it (MQTT 3.1.1, 3.1.2-24)
	Ping         time.Duration // how long an answer to a ping may take
	Connect      time.Duration // how long one attempt to connect may take
	ConnectRetry time.Duration // between attempts before the first connection
	MaxReconnect time.Duration // the longest wait between later attempts; paho's own is 10 min
	Write        time.Duration // how long a full socket may hold up one message
	Ack          time.Duration // how long an acknowledgement may take
	Reassert     time.Duration // $state is published again so often, should an old will have overwritten it
	Heartbeat    time.Duration // unchanged values are published again so often
	Yield        time.Duration // another daemon of the same device that is not heard for so long is gone
	Rebuild      time.Duration // a client that was not connected for so long is thrown away and made anew
}

// DefaultTiming holds values of ours, no source, except where the field names one.
func DefaultTiming() Timing {
	return Timing{
		KeepAlive: 30 * time.Second, Ping: 10 * time.Second,
		Connect: 30 * time.Second, ConnectRetry: 10 * time.Second, MaxReconnect: time.Minute,
		Write: 10 * time.Second, Ack: 10 * time.Second,
		Reassert: 30 * time.Second, Heartbeat: 5 * time.Minute,
		Yield:   75 * time.Second, // two and a half of the other's Reassert
		Rebuild: 5 * time.Minute,
	}
}

// Options are what a Client is made of. Config is required; the zero value of the rest is the default.
type Options struct {
	Config Config
	Homie4 bool   // publish the tree of Homie 4 in place of that of Homie 5
	Name   string // of the site, for people
	Keeper Keeper // does what is set, where Config.Commands
	Store  Store  // remembers topics and the description's version; nil forgets them at the end
	Timing Timing
	Log    *slog.Logger
	Now    func() time.Time
}

// Client shows the newest state on a broker. One goroutine of its own does all publishing.
type Client struct {
	o        Options
	root     Root
	password exporter.Secret
	newest   atomic.Pointer[exporter.State]
	jobs     chan chan error
	orders   *orders
	ctx      context.Context // ends when Close begins
	stop     context.CancelFunc
	closing  sync.Once
	bye      context.Context // how long the goodbye may take; set before stop
	done     chan struct{}

	mu   sync.Mutex // guards link against Close, which cuts it when the goodbye hangs
	link *link

	// These belong to the goroutine.
	record    *record
	listening int64 // the connection on which we listen for others of this device, 0 for none
	claimed   int64 // the one on which there is none
	bornOn    int64 // the one on which the whole tree was published
	hash      string
	state     string // what $state says
	said      map[string]saying
	check     error     // the newest self check
	packed    time.Time // the poll that went out as SenML
	wiped     bool      // somebody deleted the tree, at the latest at the tick before
	lastOpen  time.Time // when a connection was last seen
}

// saying is what a topic holds and since when.
type saying struct {
	payload string
	at      time.Time
}

var _ exporter.Publisher = (*Client)(nil)

// New begins to connect and returns at once; a broker that is down is waited for. It fails only when the configuration or a
// file it names cannot be used.
func New(o Options) (*Client, error) {
	var problems []error
	o.Config.Validate(func(path, problem string) {
		problems = append(problems, fmt.Errorf("mqtt: %s: %s", path, problem))
	})
	if err := errors.Join(problems...); err != nil {
		return nil, err
	}
	password, err := o.Config.password()
	if err != nil {
		return nil, fmt.Errorf("mqtt: %w", err)
	}
	if _, err := o.Config.Files().TLS(); err != nil {
		return nil, fmt.Errorf("mqtt: %w", err)
	}
	o.fill()
	name, given := homie5Record, homie4Record
	switch {
	case o.Homie4:
		name, given = homie4Record, ""
	case o.Config.Homie4:
		given = ""
	}
	rec, err := openRecord(o.Store, name, given)
	if err != nil {
		return nil, fmt.Errorf("mqtt: %w", err)
	}
	if name == homie5Record && o.Config.Homie4 {
		rec.leave(Root{Base: o.Config.Base, Device: o.Config.Device, Homie4: true}.Topic(""))
	}
	id, err := instance(o.Store)
	if id == "" {
		return nil, fmt.Errorf("mqtt: %w", err)
	}
	c := &Client{
		o: o, password: password, orders: newOrders(o.Keeper, o.Log),
		root: Root{Base: o.Config.Base, Device: o.Config.Device, Name: o.Name, Homie4: o.Homie4, Settable: o.Config.Commands, Instance: id},
		jobs: make(chan chan error), done: make(chan struct{}), record: rec, said: map[string]saying{}, lastOpen: o.Now(),
	}
	c.forgetful(err)
	c.ctx, c.stop = context.WithCancel(context.Background())
	c.link = dial(o, c.root, password.Reveal(), newRivals(id, o.Now), &truce{})
	go c.loop()
	if c.root.Settable {
		go c.obey()
	}
	return c, nil
}

func (o *Options) fill() {
	if o.Store == nil {
		o.Store = memory{}
	}
	if o.Timing == (Timing{}) {
		o.Timing = DefaultTiming()
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Now == nil {
		o.Now = time.Now
	}
}

// Name is mqtt, or mqtt-homie4.
func (c *Client) Name() string {
	if c.root.Homie4 {
		return "mqtt-homie4"
	}
	return "mqtt"
}

// Publish makes s the state to show and brings what changed to the broker. While there is no connection it fails at once,
// but for the first attempt to make one, and hands nothing on: the newest state is published whole when the connection comes back, without another call.
func (c *Client) Publish(ctx context.Context, s *exporter.State) error {
	c.newest.Store(s)
	reply := make(chan error, 1)
	select {
	case c.jobs <- reply:
	case <-ctx.Done():
		return fmt.Errorf("mqtt %s: the broker has not taken the state before this one in time", c.current().broker)
	case <-c.ctx.Done():
		return errStopping
	}
	select {
	case err := <-reply:
		return err
	case <-ctx.Done():
		return fmt.Errorf("mqtt %s: the broker has not taken everything in time", c.current().broker)
	}
}

// Close publishes $state disconnected and ends the connection. When the goodbye does not come through before ctx ends, the
// connection is cut instead, so that the broker says lost: ready would be a false all-clear.
func (c *Client) Close(ctx context.Context) error {
	c.closing.Do(func() {
		c.bye = ctx
		c.stop()
	})
	select {
	case <-c.done:
		return nil
	case <-ctx.Done():
		c.current().cut()
		return fmt.Errorf("mqtt: saying goodbye: %w", ctx.Err())
	}
}

func (c *Client) current() *link {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.link
}

func (c *Client) loop() {
	defer close(c.done)
	tick := time.NewTicker(c.o.Timing.Reassert)
	defer tick.Stop()
	for {
		select {
		case <-c.ctx.Done():
			c.goodbye()
			return
		case reply := <-c.jobs:
			reply <- c.update()
		case <-c.link.up:
			if soon := c.link.files.Expiring(c.o.Now()); soon != "" {
				c.o.Log.Warn("the broker will soon refuse this client's certificate", slog.String("why", soon))
			}
			_ = c.update() // a failure is told by the next Publish, which tries again
		case <-c.link.usurped:
			if c.born() {
				_ = c.reassert()
			}
		case <-c.link.rivals.heardOf:
			c.settleRivalry()
		case <-c.link.rivals.answer:
			if c.born() {
				_ = c.link.hand(c.ctx, Message{c.root.Topic(siteNode, instanceProperty), c.root.Instance})
			}
		case <-tick.C:
			c.rebuild()
			c.mend()
			_ = c.reassert()
		}
	}
}

// born reports whether this connection holds the whole tree.
func (c *Client) born() bool {
	return c.bornOn != 0 && c.bornOn == c.link.connects.Load() && c.link.isOpen()
}

// update brings the newest state to the broker: what changed, or everything on a connection that has not seen the tree.
// After any failure nothing is taken for granted and the next update publishes everything.
func (c *Client) update() (err error) {
	defer c.recovered(&err)
	s := c.newest.Load()
	if s == nil {
		return nil
	}
	if !c.link.isOpen() && !c.link.isOpenAtFirst(c.ctx) {
		return c.link.why()
	}
	tree := c.root.Tree(s)
	if c.born() && tree.Description.Hash() == c.hash {
		err = c.renew(tree)
	} else {
		err = c.birth(tree)
	}
	if err == nil {
		err = c.pack(s)
	}
	if err != nil {
		c.bornOn = 0
		return err
	}
	return exporter.Taken(c.check)
}

// recovered is deferred; it makes an error of a panic, which in a goroutine of our own would end the whole daemon.
func (c *Client) recovered(err *error) {
	if v := recover(); v != nil {
		c.bornOn = 0
		*err = fmt.Errorf("mqtt: panic: %v", v)
		c.o.Log.Error("mqtt panicked", slog.Any("panic", v), slog.String("stack", string(debug.Stack())))
	}
}

// birth publishes the whole tree in Homie's order: init, what stands round the values, values, ready. Topics of earlier days that are not
// in the tree are deleted between init and the description, which may change only while $state is not ready.
func (c *Client) birth(tree Tree) error {
	connection, now := c.link.connects.Load(), c.o.Now()
	if err := c.claim(connection); err != nil {
		return err
	}
	if c.root.Settable {
		c.attend()
	}
	version, err := c.record.version(tree.Description, now)
	c.forgetful(err)
	tree.Description.Version = version

	all := slices.Concat([]Message{{c.root.Topic("$state"), stateInit}}, c.root.frame(tree.Description), tree.Values)
	wanted := make(map[string]bool, len(all))
	for _, m := range all {
		wanted[m.Topic] = true
	}
	gone := c.record.gone(wanted)
	c.forgetful(c.record.alive(all))

	if err := c.sayState(stateInit); err != nil {
		return err
	}
	if err := c.link.hand(c.ctx, deletions(gone)...); err != nil {
		return err
	}
	c.forgetful(c.record.cleared(gone, now))
	if err := c.link.hand(c.ctx, all[1:]...); err != nil {
		return err
	}
	if err := c.link.hand(c.ctx, Message{c.root.Topic("$state"), tree.State}); err != nil {
		return err
	}
	clear(c.said)
	for _, m := range tree.Values {
		c.said[m.Topic] = saying{m.Payload, now}
	}
	c.hash, c.state, c.bornOn = tree.Description.Hash(), tree.State, connection
	return nil
}

// renew publishes what changed, alarms before all else, what was not said for a heartbeat, and the deletion of what has no value any more.
func (c *Client) renew(tree Tree) error {
	now := c.o.Now()
	var out []Message
	wanted := make(map[string]bool, len(tree.Values))
	for _, m := range tree.Values {
		wanted[m.Topic] = true
		if was, ok := c.said[m.Topic]; !ok || was.payload != m.Payload || now.Sub(was.at) >= c.o.Timing.Heartbeat {
			out = append(out, m)
		}
	}
	slices.SortStableFunc(out, c.root.alarmsFirst)
	var gone []string
	for topic := range c.said {
		if !wanted[topic] {
			gone = append(gone, topic)
		}
	}
	c.forgetful(c.record.alive(out))
	if err := c.link.hand(c.ctx, append(out, deletions(gone)...)...); err != nil {
		return err
	}
	for _, m := range out {
		c.said[m.Topic] = saying{m.Payload, now}
	}
	for _, topic := range gone {
		delete(c.said, topic)
	}
	c.forgetful(c.record.cleared(gone, now))
	if tree.State != c.state {
		if err := c.link.hand(c.ctx, Message{c.root.Topic("$state"), tree.State}); err != nil {
			return err
		}
		c.state = tree.State
	}
	return nil
}

// reassert says $state once more on a connection that holds the tree, and tries again to publish it on one that does not.
func (c *Client) reassert() (err error) {
	defer c.recovered(&err)
	if !c.born() {
		return c.update()
	}
	if c.check != nil { // a subscription that the broker has lost is one reason
		if err := c.link.listen(c.ctx, c.root); err != nil {
			return err
		}
	}
	if err := c.sayState(c.state); err != nil {
		c.bornOn = 0
		return err
	}
	return exporter.Taken(c.check)
}

// mend lets the next update publish everything where somebody has deleted our tree, such as a copy of this card under a new device, which
// clears its old one up. It waits for one tick more, by when that is over.
func (c *Client) mend() {
	if c.wiped {
		c.o.Log.Warn("somebody deleted this device from the broker; publishing it anew", slog.String("device", c.root.Device))
		c.bornOn = 0
	}
	c.wiped = c.link.wiped.Swap(false)
}

// sayState publishes $state and reads it back.
func (c *Client) sayState(payload string) error {
	topic := c.root.Topic("$state")
	for len(c.link.echo) > 0 {
		<-c.link.echo
	}
	if err := c.link.hand(c.ctx, Message{topic, payload}); err != nil {
		return err
	}
	c.check = nil
	if !c.link.heard(c.ctx, payload) && c.ctx.Err() == nil && c.link.isOpen() {
		c.check = unheard(c.link.broker, c.o.Config.Username, topic, c.root.Topic("#"))
	}
	return nil
}

// rebuild throws away a client that has not been connected for long, should the library have lost its way.
func (c *Client) rebuild() {
	now := c.o.Now()
	if c.link.isOpen() {
		c.lastOpen = now
	}
	if now.Sub(c.lastOpen) < c.o.Timing.Rebuild {
		return
	}
	c.lastOpen, c.bornOn, c.claimed, c.listening = now, 0, 0, 0
	old := c.link
	why := old.why()
	fresh := dial(c.o, c.root, c.password.Reveal(), old.rivals, old.truce)
	fresh.because(why)
	c.mu.Lock()
	c.link = fresh
	c.mu.Unlock()
	old.drop(false)
}

// goodbye says disconnected where it can, and otherwise leaves it to the will. Of a tree that is another's it says nothing.
func (c *Client) goodbye() {
	if c.link.isOpen() && c.claimed != c.link.connects.Load() {
		c.link.drop(true)
		return
	}
	said := c.link.isOpen() && c.link.hand(c.bye, Message{c.root.Topic("$state"), stateDisconnected}) == nil
	c.link.drop(said)
}

// forgetful logs that the store failed. Publishing goes on: a topic too many on the broker is better than none.
func (c *Client) forgetful(err error) {
	if err != nil {
		c.o.Log.Warn("mqtt topics not remembered", slog.String("err", err.Error()))
	}
}

func deletions(topics []string) []Message {
	out := make([]Message, 0, len(topics))
	for _, topic := range topics {
		out = append(out, Message{Topic: topic})
	}
	return out
}
