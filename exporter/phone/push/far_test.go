package push_test

import (
	"crypto/aes"
	"crypto/cipher"
	"crypto/ecdh"
	"crypto/hkdf"
	"crypto/rand"
	"crypto/sha256"
	"crypto/x509"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/phone/push"
	"nestmon/exporter/sinktest"
	"nestmon/thresholds/alarm"
)

// browser is a phone's side of a subscription.
type browser struct {
	key  *ecdh.PrivateKey
	auth []byte
	path string // of its endpoint; a secret
}

func newBrowser(t testing.TB, path string) browser {
	t.Helper()
	key, err := ecdh.P256().GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	b := browser{key, make([]byte, 16), path}
	_, _ = rand.Read(b.auth)
	return b
}

var b64 = base64.RawURLEncoding

// open decrypts a message as RFC 8291 and 8188 tell a browser to.
func (b browser) open(body []byte) ([]byte, error) {
	const head = 16 + 4 + 1
	if len(body) < head+int(body[20]) {
		return nil, errors.New("too short")
	}
	salt, rs, theirs, sealed := body[:16], binary.BigEndian.Uint32(body[16:20]), body[head:head+int(body[20])], body[head+int(body[20]):]
	if int(rs) < len(sealed) {
		return nil, errors.New("more than one record")
	}
	public, err := ecdh.P256().NewPublicKey(theirs)
	if err != nil {
		return nil, err
	}
	shared, err := b.key.ECDH(public)
	if err != nil {
		return nil, err
	}
	derive := func(secret, salt []byte, info string, n int) []byte {
		out, bad := hkdf.Key(sha256.New, secret, salt, info, n)
		err = errors.Join(err, bad)
		return out
	}
	ikm := derive(shared, b.auth, "WebPush: info\x00"+string(b.key.PublicKey().Bytes())+string(theirs), 32)
	cek, nonce := derive(ikm, salt, "Content-Encoding: aes128gcm\x00", 16), derive(ikm, salt, "Content-Encoding: nonce\x00", 12)
	if err != nil {
		return nil, err
	}
	block, err := aes.NewCipher(cek)
	if err != nil {
		return nil, err
	}
	gcm, err := cipher.NewGCM(block)
	if err != nil {
		return nil, err
	}
	text, err := gcm.Open(nil, nonce, sealed, nil)
	if err != nil {
		return nil, err
	}
	text = []byte(strings.TrimRight(string(text), "\x00"))
	if len(text) == 0 || text[len(text)-1] != 2 {
		return nil, errors.New("the record is not the last")
	}
	return text[:len(text)-1], nil
}

// The example of RFC 8291, section 5 and appendix A, as the public tests of several libraries and a browser hold it alike; the RFC was not read.
func TestTheBrowserOfTheseTestsReadsTheStandardsExample(t *testing.T) {
	un := func(s string) []byte {
		out, err := b64.DecodeString(s)
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	key, err := ecdh.P256().NewPrivateKey(un("q1dXpw3UpT5VOmu_cf_v6ih07Aems3njxI-JWgLcM94"))
	if err != nil {
		t.Fatal(err)
	}
	got, err := browser{key: key, auth: un("BTBZMqHH6r4Tts7J_aSIgg")}.open(un("DGv6ra1nlYgDCS1FRnbzlwAAEABBBP4z9KsN6nGRTbVYI_c7VJSPQTBtkgcy27mlmlMoZIIgDll6e3vCYLocInmYWAmS6TlzAC8wEqKK6PBru3jl7A_yl95bQpu6cVPTpK4Mqgkf1CXztLVBSt2Ks3oZwbuwXPXLWyouBWLVWGNWQexSgSxsj_Qulcy4a-fN"))
	if err != nil || string(got) != "When I grow up, I want to be a watermelon" {
		t.Errorf("%q, %v", got, err)
	}
}

// said is what the page's worker is given.
type said struct {
	ID, Title, Body, Tag, Link string
	Stays, Again               bool
}

// call is one request as the push service saw it.
type call struct {
	path   string
	header http.Header
	bytes  int
	said   said
	status int
}

// far is a push service, and the phones behind it.
type far struct {
	*httptest.Server
	t  testing.TB
	mu sync.Mutex

	conduct  sinktest.Conduct
	status   map[string]int // by path; 201 where it is not there
	most     int            // bytes it takes, 0 for any
	wait     string         // Retry-After
	browsers []browser
	got      []call
	release  chan struct{}
}

func newFar(t testing.TB) *far {
	f := &far{t: t, conduct: sinktest.Accepts, status: map[string]int{}, release: make(chan struct{})}
	f.Server = httptest.NewTLSServer(f)
	t.Cleanup(func() { close(f.release); f.Close() })
	return f
}

func (f *far) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	body, _ := io.ReadAll(r.Body)
	f.mu.Lock()
	conduct, status, most, wait := f.conduct, f.status[r.URL.Path], f.most, f.wait
	f.mu.Unlock()
	switch conduct {
	case sinktest.Fails:
		status = http.StatusServiceUnavailable
	case sinktest.Hangs:
		select {
		case <-f.release:
		case <-r.Context().Done():
		}
		panic(http.ErrAbortHandler) // a return would be an answer, 200
	case sinktest.Absent:
		panic(http.ErrAbortHandler)
	case sinktest.Slow:
		time.Sleep(50 * time.Millisecond)
	}
	if most > 0 && len(body) > most {
		status = http.StatusRequestEntityTooLarge
	}
	if status == 0 {
		status = http.StatusCreated
	}
	c := call{path: r.URL.Path, header: r.Header, bytes: len(body), status: status}
	f.mu.Lock()
	for _, b := range f.browsers {
		if b.path != r.URL.Path {
			continue
		}
		text, err := b.open(body)
		if err == nil {
			err = json.Unmarshal(text, &c.said)
		}
		if err != nil {
			f.t.Errorf("%s cannot read its message: %v", b.path, err)
		}
	}
	f.got = append(f.got, c)
	f.mu.Unlock()
	if wait != "" {
		w.Header().Set("Retry-After", wait)
	}
	w.Header().Set("Location", f.URL+"/elsewhere")
	w.WriteHeader(status)
}

func (f *far) set(change func()) { f.mu.Lock(); defer f.mu.Unlock(); change() }

func (f *far) answer(path string, status int) { f.set(func() { f.status[path] = status }) }

// calls lists what was taken with success, or with all whatever came.
func (f *far) calls(all bool) (out []call) {
	f.mu.Lock()
	defer f.mu.Unlock()
	for _, c := range f.got {
		if all || c.status < 300 {
			out = append(out, c)
		}
	}
	return out
}

func (f *far) net() push.Net {
	roots := x509.NewCertPool()
	roots.AddCert(f.Certificate())
	return push.Net{Home: true, Roots: roots}
}

// subscription makes a phone behind f.
func (f *far) subscription(label, path string) exporter.Subscription {
	b := newBrowser(f.t, path)
	f.set(func() {
		f.browsers = append(slices.DeleteFunc(f.browsers, func(o browser) bool { return o.path == path }), b)
	})
	return exporter.Subscription{
		Endpoint: exporter.NewSecret(f.URL + path), P256dh: b64.EncodeToString(b.key.PublicKey().Bytes()),
		Auth: exporter.NewSecret(b64.EncodeToString(b.auth)), Label: label, Agent: "Invented 1",
	}
}

// store is an archive's meta.
type store struct {
	mu     sync.Mutex
	kept   map[string]string
	broken error
	writes int
}

func newStore() *store { return &store{kept: map[string]string{}} }

func (s *store) Meta(key string) (string, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.kept[key], s.broken
}

func (s *store) SetMeta(key, value string) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.broken == nil {
		s.kept[key] = value
		s.writes++
	}
	return s.broken
}

func (s *store) breaks(err error) { s.mu.Lock(); defer s.mu.Unlock(); s.broken = err }

const contact = "mailto:keeper@willow-bend.example"

func options(f *far, s *store) push.Options {
	return push.Options{Name: "board", Level: alarm.Notice, Config: push.Config{Contact: contact}, Store: s, Net: f.net()}
}

func open(t testing.TB, o push.Options) *push.Channel {
	t.Helper()
	c, err := push.New(o)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func subscribe(t testing.TB, c *push.Channel, all ...exporter.Subscription) {
	t.Helper()
	for _, s := range all {
		if err := c.Subscribe(s); err != nil {
			t.Fatal(err)
		}
	}
}

func hot(id string, change func(*exporter.Message)) exporter.Message {
	m := exporter.Message{
		ID: id, Time: time.Date(2026, 7, 14, 14, 5, 0, 0, time.UTC), Title: "URGENT: nest a1: too hot, 106.2 °F (41.2 °C)", Body: "Shade the nest.",
		Link:  "https://willow-bend.example/a/tk-1234",
		Event: alarm.Event{Nest: "a1", Name: alarm.NestHeat, State: alarm.Raised, Severity: alarm.Urgent},
	}
	if change != nil {
		change(&m)
	}
	return m
}
