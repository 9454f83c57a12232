package phone

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"nestmon/exporter"
)

// HeartbeatName is the heartbeat among the sinks.
const HeartbeatName = "heartbeat"

// Bounds of the time between two heartbeats; ours, no source. Three of the usual ones are what a silent probe has before it is a warning: 15 min.
const (
	UsualBeat    = 5 * time.Minute
	shortestBeat = time.Minute
	longestBeat  = time.Hour
	// A receiver calls when so many in a row did not come, one of which may be lost on the way, and not before a daemon that was killed may
	// have come back and rested.
	beatsMissed  = 3
	leastSilence = 5 * time.Minute
)

// Beats is the block heartbeat of the configuration: whom to tell that the daemon lives.
type Beats struct {
	URL     exporter.Secret `yaml:"url"`
	URLFile string          `yaml:"url_file"` // one line
	Every   time.Duration   `yaml:"every"`    // 0 for UsualBeat
	Method  string          `yaml:"method"`   // empty for GET
}

var beatMethods = []string{http.MethodGet, http.MethodPost, http.MethodHead}

// Silence is how long the receiver should hear nothing before it calls.
func (b Beats) Silence() time.Duration { return max(beatsMissed*b.Every, leastSilence) }

func (b Beats) validate(report func(path, problem string)) {
	switch {
	case b.URL.IsSet() && b.URLFile != "":
		report("url", "is given beside url_file; write one of them")
	case !b.URL.IsSet() && b.URLFile == "":
		report("url", "is missing; write the address the receiver of the heartbeat gave you, or url_file with a file that holds it")
	case b.URL.IsSet() && checkURL(b.URL) != nil:
		report("url", checkURL(b.URL).Error())
	}
	if b.Every != 0 && (b.Every < shortestBeat || b.Every > longestBeat) {
		report("every", fmt.Sprintf("is out of range; write %.0fm to %.0fh", shortestBeat.Minutes(), longestBeat.Hours()))
	}
	if b.Method != "" && !slices.Contains(beatMethods, b.Method) {
		report("method", fmt.Sprintf("%q is not possible; write one of: %s", b.Method, strings.Join(beatMethods, ", ")))
	}
}

// Check says what is wrong with the file that holds the address.
func (b Beats) Check() error {
	_, err := b.address()
	return err
}

func (b Beats) address() (exporter.Secret, error) {
	to, err := address(b.URL, b.URLFile)
	if err != nil {
		return to, fmt.Errorf("phone %s: %w", HeartbeatName, err)
	}
	return to, nil
}

// Heartbeat tells somebody outside, again and again, that the daemon does its work, by asking for an address. Whoever receives that calls a
// person when nothing comes: so a dead board, a house without power and a daemon that hangs reach the phone too.
//
// It promises nothing by itself. Whoever knows that a whole cycle was well says so by Beat, and what speaks against it by Hold; a request
// goes out only while the newest Beat is fresh. Nothing is sent at the end: silence is the message, and a wrong "all is well" the worst.
//
// Requests are a pump's messages of which there is never more than one: so tries, waits and health are those of every channel.
type Heartbeat struct {
	*exporter.Pump
	url    exporter.Secret
	method string
	every  time.Duration
	poll   time.Duration // between two Beats
	client *http.Client
	log    *slog.Logger

	mu    sync.Mutex
	beat  time.Time // of the newest whole cycle, zero when there is none or one was not well; times here are the runtime's
	held  error     // what speaks against a request
	rests time.Time // no request before it
	asked time.Time // when the request under way was due
	sent  time.Time // when the one that arrived last was begun
	count int
}

// NewHeartbeat starts a heartbeat, of which nothing is heard before the first Beat. poll is the time between two of them.
func NewHeartbeat(b Beats, poll time.Duration, opt exporter.Options) (*Heartbeat, error) {
	to, err := b.address()
	if err != nil {
		return nil, err
	}
	h := &Heartbeat{url: to, method: orText(b.Method, http.MethodGet), every: b.Every, poll: poll, client: newClient(), log: opt.Log}
	if h.every == 0 {
		h.every = UsualBeat
	}
	if h.log == nil {
		h.log = slog.New(slog.DiscardHandler)
	}
	opt.Timeout = deadline
	h.Pump = exporter.NewMessagePump(asker{h}, asker{h}, opt)
	return h, nil
}

// Beat says that a whole cycle was well.
func (h *Heartbeat) Beat() {
	h.mu.Lock()
	if h.held != nil {
		h.log.Info("heartbeat goes on", "sink", HeartbeatName)
	}
	h.beat, h.held = time.Now(), nil
	h.mu.Unlock()
	h.Wake()
}

// Rest lets nothing out for so long.
func (h *Heartbeat) Rest(long time.Duration) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.rests = time.Now().Add(long)
}

// Hold says that nothing may go out until the next Beat, and why.
func (h *Heartbeat) Hold(why error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.held == nil {
		h.log.Warn("heartbeat is held back", "sink", HeartbeatName, "err", why)
	}
	h.beat, h.held = time.Time{}, why
}

// Health reports on the heartbeat. One that is held back is not well, and has no time since which: its cause is told by itself, and is no fault of
// the receiver.
func (h *Heartbeat) Health() exporter.SinkHealth {
	health := h.Pump.Health()
	health.Owes, health.Pending, health.OldestAt = false, 0, time.Time{} // one that was missed is missed
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.held != nil {
		health.OK, health.Misconfigured, health.Since, health.Error = false, false, time.Time{}, "held back: "+h.held.Error()
	}
	return health
}

// asker is a heartbeat as its pump sees it: the sink, and the store that owes it a request now and then.
type asker struct{ *Heartbeat }

func (asker) Name() string { return HeartbeatName }

// Pending is the request that is due, where the newest whole cycle is no older than one that is late may be. Half a poll of slack lets it go
// out with the cycle that is nearest.
func (h asker) Pending(string, time.Time, int) ([]exporter.Message, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	now := time.Now()
	fresh := now.After(h.rests) && !h.beat.IsZero() && now.Sub(h.beat) <= 2*h.poll
	due := h.sent.IsZero() || now.Sub(h.sent) >= h.every-h.poll/2
	if !fresh || !due {
		return nil, nil
	}
	h.asked = now
	return []exporter.Message{{ID: strconv.Itoa(h.count)}}, nil
}

func (h asker) Sent(string, string, time.Time) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.sent = h.asked
	h.count++
	return nil
}

// Refused is never called: a request that was refused is made again.
func (h asker) Refused(string, string, string) error { return nil }

func (h asker) Send(ctx context.Context, _ exporter.Message) error {
	req, err := http.NewRequestWithContext(ctx, h.method, h.url.Reveal(), nil)
	if err != nil { // err holds the address
		return &beatError{text: HeartbeatName + ": the address cannot be used; write https://HOST/PATH", wrong: true}
	}
	req.Header.Set("User-Agent", "nestmon")
	resp, err := h.client.Do(req)
	if err != nil {
		return fmt.Errorf("%s: %s", HeartbeatName, unsent(h.url, err))
	}
	defer func() { _ = resp.Body.Close() }()
	_, _ = io.Copy(io.Discard, io.LimitReader(resp.Body, maxAnswer)) // the status alone decides
	return h.judge(resp)
}

func (h asker) judge(resp *http.Response) error {
	code := resp.StatusCode
	said := fmt.Sprintf("%s: the receiver answered %d %s", HeartbeatName, code, http.StatusText(code))
	later := min(exporter.RetryAfter(resp.Header.Get("Retry-After"), time.Now()), h.every)
	switch {
	case code >= 200 && code < 300:
		return nil
	case code >= 300 && code < 400:
		return &beatError{said + ", which points elsewhere and is not followed; write the final address as url", min(slowly, h.every), true}
	case code == http.StatusRequestTimeout, code == http.StatusTooEarly, code == http.StatusTooManyRequests, code >= 500:
		return &beatError{said, later, false}
	case code == http.StatusMethodNotAllowed:
		return &beatError{said + "; write another method", min(slowly, h.every), true}
	case code >= 400:
		return &beatError{said + "; check url, and at the receiver whether it still waits for this board", min(slowly, h.every), true}
	}
	return &beatError{said, later, false}
}

// beatError is a heartbeat that did not arrive.
type beatError struct {
	text  string
	after time.Duration
	wrong bool
}

func (e *beatError) Error() string { return e.text }

// RetryAfter is how long to wait, 0 when nobody said.
func (e *beatError) RetryAfter() time.Duration { return e.after }

// Misconfigured means that only a person can mend it.
func (e *beatError) Misconfigured() bool { return e.wrong }
