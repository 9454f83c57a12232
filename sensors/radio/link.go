package radio

import (
	"context"
	"fmt"
	"math/rand/v2"
	"net"
	"net/url"
	"os"
	"strings"
	"sync"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"nestmon/sensors/broker"
)

const (
	// protocol is MQTT 3.1.1. Naming it keeps paho from trying 3.1 with the same wrong password.
	protocol = 4
	// atLeastOnce is the quality of service asked for; a node may send with less.
	atLeastOnce = 1
	// refusedCode is a broker's answer to a subscription it does not grant (MQTT 3.1.1, 3.9.3).
	refusedCode = 0x80
	// goodbye is how long paho may take to write DISCONNECT, in ms; on a local network one write. Ours.
	goodbye = 100
	// closeLimit bounds Close. Ours: below the Poller's own.
	closeLimit = 500 * time.Millisecond
	// shortLived connections in a row mean, most often, that another client uses the same id. Ours.
	shortLived = 3
)

// Timing holds every time of the connection. Tests shorten them.
type Timing struct {
	KeepAlive  time.Duration // a broker drops a client after one and a half of it (MQTT 3.1.1, 3.1.2-24)
	Ping       time.Duration // how long an answer to a ping may take
	Connect    time.Duration // how long one attempt to connect may take
	Ack        time.Duration // how long a subscription may take
	FirstRetry time.Duration // wait after a failure, doubled by each further one
	LastRetry  time.Duration // the longest of these waits
	Steady     time.Duration // a connection that lasted so long was no failure
	Ask        time.Duration // topics that were refused are asked for again so often
	Beat       time.Duration // how often this process sees itself run
	Standstill time.Duration // a process that did not for so long stood still
}

// DefaultTiming holds values of ours, no source, except where the field names one.
func DefaultTiming() Timing {
	return Timing{
		KeepAlive: 30 * time.Second, Ping: 10 * time.Second, Connect: 20 * time.Second, Ack: 10 * time.Second,
		FirstRetry: time.Second, LastRetry: time.Minute, Steady: time.Minute, Ask: 5 * time.Minute,
		Beat: 5 * time.Second, Standstill: 30 * time.Second,
	}
}

// run keeps a connection until Close.
func (s *Source) run() {
	defer close(s.done)
	var wait time.Duration
	for short := 0; ; {
		began := time.Now()
		connected, err := s.session()
		if s.ctx.Err() != nil {
			return
		}
		if short++; !connected || time.Since(began) > s.Timing.Steady {
			short = 0
		}
		if short >= shortLived {
			err = fmt.Errorf("%w; it was ended %d times soon after it was made: another client may use the id %q; set client_id", err, short, s.client)
		}
		s.down(err)
		if connected && short == 0 {
			wait = 0
		}
		wait = min(max(2*wait, s.Timing.FirstRetry), s.Timing.LastRetry)
		select {
		case <-s.ctx.Done():
			return
		case <-time.After(wait - rand.N(wait/2+1)): // so that many clients do not come back together
		}
	}
}

// session is one connection from beginning to end.
func (s *Source) session() (connected bool, err error) {
	number := s.turn()
	l, err := s.dial(s.ctx, s.client, func(topic string, payload []byte, retained bool) { s.receive(number, topic, payload, retained) })
	if err != nil {
		return false, err
	}
	defer l.end()
	s.awake()
	beat, ask := time.NewTicker(s.Timing.Beat), time.NewTicker(s.Timing.Ask)
	defer beat.Stop()
	defer ask.Stop()
	l.beat, l.steady = beat.C, func() error { return s.steady(l) }
	if err := s.subscribe(l, s.topics); err != nil {
		return true, err
	}
	s.up()
	for {
		select {
		case <-s.ctx.Done():
			return true, nil
		case err := <-l.lost:
			return true, fmt.Errorf("radio %s: connection lost: %w", s.host(), err)
		case <-beat.C:
			if err := l.steady(); err != nil {
				return true, fmt.Errorf("radio %s: %w", s.host(), err)
			}
		case <-ask.C:
			if err := s.subscribe(l, s.refusedTopics()); err != nil {
				return true, err
			}
		}
	}
}

// turn makes the next connection the one that is heard.
func (s *Source) turn() (number uint64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.heard++
	return s.heard
}

// awake notes that the process runs, on a connection with nothing old in it.
func (s *Source) awake() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.alive = time.Now()
}

// beat notes that the process runs, and reports whether it did so all the time since the last beat. After a standstill it notes nothing:
// what this connection still delivers stays old until there is another.
func (s *Source) beat() (steady bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.stoodStill() {
		return false
	}
	s.alive = time.Now()
	return true
}

// steady ends a connection over which this process stood still.
func (s *Source) steady(l *link) error {
	if s.beat() {
		return nil
	}
	l.cut() // with it goes what lies in the socket
	return fmt.Errorf("this process stood still for more than %s", s.Timing.Standstill)
}

// subscribe asks for topics and notes which of them the broker refuses. A broker that takes its time with each is no
// standstill of this process, which beats meanwhile.
func (s *Source) subscribe(l *link, topics []string) error {
	for _, topic := range topics {
		granted, err := l.subscribe(s.ctx, topic, s.Timing.Ack)
		if err != nil {
			return fmt.Errorf("radio %s: subscribing to %s: %w", s.host(), topic, err)
		}
		var refusal error
		if !granted {
			refusal = s.refusal(topic)
		}
		s.note(topic, refusal)
	}
	return nil
}

// refusal says that the broker does not let us read a topic.
func (s *Source) refusal(topic string) error {
	return fmt.Errorf("radio %s: the broker refuses to let user %s read %s; allow it in the broker's access list", s.host(), s.user(), topic)
}

func (s *Source) note(topic string, refusal error) {
	s.mu.Lock()
	was := s.refused[topic]
	if delete(s.refused, topic); refusal != nil {
		s.refused[topic] = refusal
	}
	s.mu.Unlock()
	switch {
	case refusal != nil && was == nil:
		s.log.Warn("topic refused", "topic", topic, "err", refusal)
	case refusal == nil && was != nil:
		s.log.Info("topic granted", "topic", topic)
	}
}

func (s *Source) refusedTopics() (topics []string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, topic := range s.topics {
		if s.refused[topic] != nil {
			topics = append(topics, topic)
		}
	}
	return topics
}

func (s *Source) up() {
	s.mu.Lock()
	s.problem = nil
	s.mu.Unlock()
	s.log.Info("listening to the broker", "broker", s.host(), "topics", len(s.topics))
}

// down notes why there is no connection; the same reason is logged once.
func (s *Source) down(err error) {
	s.mu.Lock()
	was := s.problem
	s.problem = err
	s.mu.Unlock()
	if was == nil || was.Error() != err.Error() {
		s.log.Warn("broker is not heard", "err", err)
	}
}

func (s *Source) host() string {
	u, _ := url.Parse(s.config.Broker) // validated by New
	return u.Host
}

func (s *Source) user() string {
	if s.config.Username == "" {
		return "anonymous"
	}
	return s.config.Username
}

// link is one connection.
type link struct {
	client paho.Client
	lost   chan error
	beat   <-chan time.Time // when steady is to be asked while something is waited for; nil where nobody minds a standstill
	steady func() error

	mu   sync.Mutex
	conn net.Conn
}

// dial makes one connection; it does not try again.
func (s *Source) dial(ctx context.Context, id string, receive func(topic string, payload []byte, retained bool)) (*link, error) {
	password, err := s.config.password()
	if err != nil {
		return nil, fmt.Errorf("radio %s: %w", s.host(), err)
	}
	l := &link{lost: make(chan error, 1)}
	opts := paho.NewClientOptions().
		AddBroker(s.config.Broker).
		SetClientID(id).
		SetUsername(s.config.Username).
		SetPassword(password).
		SetProtocolVersion(protocol).
		SetCleanSession(true). // what a broker keeps for us comes later and looks new
		SetAutoReconnect(false).
		SetConnectTimeout(s.Timing.Connect).
		SetKeepAlive(s.Timing.KeepAlive).
		SetPingTimeout(s.Timing.Ping).
		SetWriteTimeout(s.Timing.Ack).
		SetOrderMatters(true). // receive waits for nothing, and the order of messages is what they say
		SetDefaultPublishHandler(func(_ paho.Client, m paho.Message) { receive(m.Topic(), m.Payload(), m.Retained()) }).
		SetCustomOpenConnectionFn(func(u *url.URL, _ paho.ClientOptions) (net.Conn, error) {
			return l.open(ctx, u, s.Timing.Connect, s.config.Files())
		}).
		SetConnectionLostHandler(func(_ paho.Client, err error) { l.lost <- err })
	l.client = paho.NewClient(opts)
	token := l.client.Connect()
	select {
	case <-token.Done():
	case <-ctx.Done():
		l.end()
		return nil, ctx.Err()
	}
	if err := token.Error(); err != nil {
		l.end()
		return nil, broker.Refusal("radio "+s.host(), s.config.Files(), err)
	}
	return l, nil
}

// open makes the network connection and keeps it, because paho has no way to drop one at once.
func (l *link) open(ctx context.Context, u *url.URL, timeout time.Duration, files broker.Files) (net.Conn, error) {
	ctx, cancel := context.WithTimeout(ctx, timeout)
	defer cancel()
	conn, err := broker.Open(ctx, u, files)
	if err != nil {
		return nil, err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.conn = newBounded(conn)
	return l.conn, nil
}

func (l *link) cut() {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.conn != nil {
		_ = l.conn.Close()
	}
}

// end ends the connection for good.
func (l *link) end() {
	l.client.Disconnect(goodbye)
	l.cut()
}

// subscribe asks for one topic and reports whether the broker grants it. It beats while it waits.
func (l *link) subscribe(ctx context.Context, topic string, patience time.Duration) (granted bool, err error) {
	token := l.client.Subscribe(topic, atLeastOnce, nil)
	timer := time.NewTimer(patience)
	defer timer.Stop()
	for answered := false; !answered; {
		select {
		case <-token.Done():
			answered = true
		case <-l.beat:
			if err := l.steady(); err != nil {
				return false, err
			}
		case <-timer.C:
			return false, fmt.Errorf("no answer within %s", patience)
		case <-ctx.Done():
			return false, ctx.Err()
		}
	}
	if err := token.Error(); err != nil {
		return false, err
	}
	answer, ok := token.(*paho.SubscribeToken)
	return !ok || answer.Result()[topic] != refusedCode, nil
}

// password reads the password's file.
func (c Config) password() (string, error) {
	if c.PasswordFile == "" {
		return "", nil
	}
	text, err := os.ReadFile(c.PasswordFile)
	if err != nil {
		return "", fmt.Errorf("password_file %w: %w; make the file readable for this user", broker.ErrFile, err)
	}
	return strings.TrimRight(string(text), "\r\n"), nil
}
