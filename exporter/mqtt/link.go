package mqtt

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/url"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"nestmon/sensors/broker"
)

const (
	// window is how many messages may be unacknowledged at once. Ours, no source; paho has 65,535 ids.
	window = 100
	// protocol is MQTT 3.1.1. Naming it keeps paho from trying 3.1 with the same wrong password.
	protocol = 4
	// goodbyeQuiesce is how long paho may take to write DISCONNECT, in ms; on a local network one write. Ours.
	goodbyeQuiesce = 250
	// firstTry is how long the first state waits for the first attempt to connect, so that a start is not told as a failure; a few round
	// trips of TLS on the smallest board. Ours, no source.
	firstTry = 5 * time.Second
)

// link is one paho client. paho's callbacks touch only its channels, counters, what is known of rivals, and the reason under the lock.
type link struct {
	client   paho.Client
	store    paho.Store
	qos      byte
	ack      time.Duration
	broker   string // host:port, for words
	files    broker.Files
	up       chan struct{}
	tried    chan struct{} // closed with the first attempt to connect, or when it was waited for in vain
	echo     chan string   // what came back on our $state
	usurped  chan struct{} // somebody else, an old will mostly, wrote our $state
	wiped    atomic.Bool   // somebody deleted it, and the rest of the tree with it for all we know
	rivals   *rivals
	truce    *truce
	connects atomic.Int64 // connections so far
	losses   atomic.Int64 // of those, the ones that ended

	mu     sync.Mutex
	conn   net.Conn
	over   bool // cut; there is no next connection
	opened time.Time
	reason error // why there is no connection
}

// dial prepares a connection and begins to make it; it returns at once. Rivals and truce outlast it.
func dial(o Options, root Root, password string, known *rivals, peace *truce) *link {
	u, _ := url.Parse(o.Config.Broker) // validated by New
	l := &link{
		store: newStore(), qos: o.Config.QoS, ack: o.Timing.Ack, broker: u.Host, files: o.Config.Files(),
		up: make(chan struct{}, 1), tried: make(chan struct{}), echo: make(chan string, 32), usurped: make(chan struct{}, 1),
		rivals: known, truce: peace,
		reason: fmt.Errorf("mqtt %s: not connected yet; is the broker running and reachable, and are host and port right?", u.Host),
	}
	id := o.Config.clientID(root.Instance, root.Homie4)
	opts := paho.NewClientOptions().
		AddBroker(o.Config.Broker).
		SetClientID(id).
		SetUsername(o.Config.Username).
		SetPassword(password).
		SetProtocolVersion(protocol).
		SetCleanSession(true). // nothing is owed to a publisher of states
		SetStore(l.store).     // never the file store: it panics on a full card and does not sync
		SetConnectTimeout(o.Timing.Connect).
		SetConnectRetry(true).
		SetConnectRetryInterval(o.Timing.ConnectRetry).
		SetMaxReconnectInterval(o.Timing.MaxReconnect).
		SetKeepAlive(o.Timing.KeepAlive).
		SetPingTimeout(o.Timing.Ping).
		SetWriteTimeout(o.Timing.Write).
		SetOrderMatters(true). // our handlers wait for nothing, and what the broker keeps is heard before the answer to a question
		SetDefaultPublishHandler(func(paho.Client, paho.Message) {}).
		SetWill(root.Topic("$state"), stateLost, o.Config.QoS, true).
		SetCustomOpenConnectionFn(func(u *url.URL, po paho.ClientOptions) (net.Conn, error) {
			if err := peace.resting(o.Now()); err != nil {
				return nil, err
			}
			return l.open(u, po.ConnectTimeout)
		}).
		SetOnConnectHandler(func(paho.Client) { l.connected(o.Now()) }).
		SetConnectionLostHandler(func(_ paho.Client, err error) { l.lost(err, id, o.Now()) }).
		SetConnectionNotificationHandler(func(_ paho.Client, n paho.ConnectionNotification) {
			if f, ok := n.(paho.ConnectionNotificationFailed); ok {
				l.because(broker.Refusal("mqtt "+l.broker, l.files, f.Reason))
			}
		})
	l.client = paho.NewClient(opts)
	l.client.Connect() // with ConnectRetry its token ends with the first connection; the handler says so too
	return l
}

// open makes the network connection and keeps it, because paho has no way to drop one without DISCONNECT.
func (l *link) open(u *url.URL, timeout time.Duration) (net.Conn, error) {
	ctx, cancel := context.WithTimeout(context.Background(), timeout)
	defer cancel()
	conn, err := broker.Open(ctx, u, l.files)
	if err != nil {
		return nil, err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.over {
		_ = conn.Close()
		return nil, errStopping
	}
	l.conn = conn
	return conn, nil
}

// cut ends the connection for good and without DISCONNECT, so that the broker publishes the will. paho, which would connect
// again at once and say for a moment that all is well, gets no other.
func (l *link) cut() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.over = true
	if l.conn != nil {
		_ = l.conn.Close()
	}
}

// isOpen reports whether there is a connection now, as far as anybody can know. paho calls itself open a moment before its
// handler has counted the connection.
func (l *link) isOpen() bool {
	return l.client.IsConnectionOpen() && l.connects.Load() > l.losses.Load()
}

func (l *link) connected(now time.Time) {
	l.connects.Add(1)
	l.mu.Lock()
	l.opened, l.reason = now, nil
	l.firstTried()
	l.mu.Unlock()
	poke(l.up)
}

// lost notes the end of a connection. The broker's own end of it reads as EOF.
func (l *link) lost(err error, id string, now time.Time) {
	l.losses.Add(1)
	l.mu.Lock()
	defer l.mu.Unlock()
	l.reason = fmt.Errorf("mqtt %s: connection lost: %w", l.broker, err)
	if soon := l.truce.ended(now.Sub(l.opened), errors.Is(err, io.EOF), now); soon > 0 {
		l.reason = broker.Wrong{Err: fmt.Errorf("%w; it was ended %d times soon after it was made: another client may use the id %q; give each nestmon its own device, its own client_id where you set one, and no copy of another's data folder",
			l.reason, soon, id)}
		l.truce.because(l.reason)
	}
}

func (l *link) because(err error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.reason = err
	l.firstTried()
}

// firstTried is called with the lock.
func (l *link) firstTried() {
	select {
	case <-l.tried:
	default:
		close(l.tried)
	}
}

// isOpenAtFirst waits for the first attempt to connect.
func (l *link) isOpenAtFirst(ctx context.Context) bool {
	timer := time.NewTimer(firstTry)
	defer timer.Stop()
	select {
	case <-l.tried:
	case <-timer.C:
	case <-ctx.Done():
	}
	l.mu.Lock()
	l.firstTried()
	l.mu.Unlock()
	return l.isOpen()
}

// why says why there is no connection.
func (l *link) why() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.reason == nil {
		return fmt.Errorf("mqtt %s: not connected", l.broker)
	}
	return l.reason
}

// listen subscribes to our own $state and to what tells of rivals.
func (l *link) listen(ctx context.Context, root Root) error {
	state, instance, ask := root.Topic("$state"), root.Topic(siteNode, instanceProperty), root.Topic(siteNode, instanceProperty, "set")
	wanted := map[string]byte{state: l.qos, instance: l.qos, ask: l.qos}
	token := l.client.SubscribeMultiple(wanted, func(_ paho.Client, m paho.Message) {
		switch payload := string(m.Payload()); m.Topic() {
		case instance:
			l.rivals.named(payload, m.Retained())
		case ask:
			l.rivals.asked(payload)
		default:
			l.stated(payload, m.Retained())
		}
	})
	return l.settle(ctx, []paho.Token{token}, "subscribing to "+state)
}

// stated takes what came on our $state.
func (l *link) stated(payload string, retained bool) {
	if l.rivals.stated(payload, retained) {
		return // we have said nothing yet on this connection
	}
	switch {
	case retained: // what an earlier life left behind
	case payload == "":
		l.wiped.Store(true)
		poke(l.usurped)
	case payload == stateLost || payload == stateDisconnected:
		poke(l.usurped)
	default:
		select {
		case l.echo <- payload:
		default:
		}
	}
}

// heard waits until payload has come back on our $state.
func (l *link) heard(ctx context.Context, payload string) bool {
	timer := time.NewTimer(l.ack)
	defer timer.Stop()
	for {
		select {
		case got := <-l.echo:
			if got == payload {
				return true
			}
		case <-timer.C:
			return false
		case <-ctx.Done():
			return false
		}
	}
}

// hand gives retained messages to the broker, in order, and waits until it has acknowledged each.
func (l *link) hand(ctx context.Context, messages ...Message) error {
	return l.give(ctx, true, messages)
}

// mention gives one message that the broker passes on and does not keep.
func (l *link) mention(ctx context.Context, m Message) error {
	return l.give(ctx, false, []Message{m})
}

func (l *link) give(ctx context.Context, retained bool, messages []Message) error {
	for len(messages) > 0 {
		n := min(len(messages), window)
		if err := l.giveWindow(ctx, retained, messages[:n]); err != nil {
			return err
		}
		messages = messages[n:]
	}
	return nil
}

// giveWindow gives nothing to paho unless the connection is open and everything given before was acknowledged: what paho
// holds it sends again after a reconnect, when it may be old, and in no order.
func (l *link) giveWindow(ctx context.Context, retained bool, messages []Message) error {
	if err := l.drained(ctx); err != nil {
		return err
	}
	connection := l.connects.Load()
	tokens := make([]paho.Token, 0, len(messages))
	for _, m := range messages {
		if !l.isOpen() {
			return l.why()
		}
		token := l.client.Publish(m.Topic, l.qos, retained, m.Payload)
		if tokenFailed(token) {
			return fmt.Errorf("mqtt %s: publishing %s: %w", l.broker, m.Topic, token.Error())
		}
		tokens = append(tokens, token)
	}
	if err := l.settle(ctx, tokens, "publishing "+messages[0].Topic); err != nil {
		return err
	}
	if l.connects.Load() != connection {
		// paho ends the tokens of the old connection as if they had been acknowledged.
		return fmt.Errorf("mqtt %s: the connection was lost while publishing %s", l.broker, messages[0].Topic)
	}
	return nil
}

func tokenFailed(t paho.Token) bool {
	select {
	case <-t.Done():
		return t.Error() != nil
	default:
		return false
	}
}

// settle waits for tokens, at most for the time an acknowledgement may take.
func (l *link) settle(ctx context.Context, tokens []paho.Token, doing string) error {
	timer := time.NewTimer(l.ack)
	defer timer.Stop()
	for _, t := range tokens {
		select {
		case <-t.Done():
			if err := t.Error(); err != nil {
				return fmt.Errorf("mqtt %s: %s: %w", l.broker, doing, err)
			}
		case <-timer.C:
			return fmt.Errorf("mqtt %s: %s: no acknowledgement within %v", l.broker, doing, l.ack)
		case <-ctx.Done():
			return fmt.Errorf("mqtt %s: %s: %w", l.broker, doing, ctx.Err())
		}
	}
	return nil
}

// drained waits until paho holds nothing that goes out.
func (l *link) drained(ctx context.Context) error {
	const look = 20 * time.Millisecond // short beside a poll; ours
	for waited := time.Duration(0); ; waited += look {
		held := l.held()
		switch {
		case held == 0:
			return nil
		case !l.isOpen():
			return l.why()
		case waited >= l.ack:
			return fmt.Errorf("mqtt %s: %d messages of before are not acknowledged yet", l.broker, held)
		}
		select {
		case <-time.After(look):
		case <-ctx.Done():
			return fmt.Errorf("mqtt %s: waiting for acknowledgements: %w", l.broker, ctx.Err())
		}
	}
}

// held counts what paho keeps for sending; its keys for that begin with "o." (store.go of 1.5.1).
func (l *link) held() int {
	n := 0
	for _, key := range l.store.All() {
		if strings.HasPrefix(key, "o.") {
			n++
		}
	}
	return n
}

// drop ends the client for good. Without a goodbye the broker publishes the will.
func (l *link) drop(goodbye bool) {
	if !goodbye {
		l.cut()
	}
	l.client.Disconnect(goodbyeQuiesce)
}

// poke wakes whoever listens, or leaves the earlier poke there.
func poke(c chan struct{}) {
	select {
	case c <- struct{}{}:
	default:
	}
}

// errStopping is returned by a Publish that comes after, or is overtaken by, Close.
var errStopping = errors.New("mqtt: stopping")
