package mail_test

import (
	"bufio"
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/base64"
	"encoding/pem"
	"fmt"
	"math/big"
	"net"
	netmail "net/mail"
	"net/textproto"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"nestmon/exporter/phone/mail"
	"nestmon/exporter/sinktest"
	"nestmon/thresholds/alarm"
)

const (
	user     = "barn@example.org"
	password = "Zk3 very=secret"
)

// What a server can do at a step instead of answering.
const (
	mute   = "mute"   // nothing, and the connection stays
	drip   = "drip"   // one byte after another, without end
	flood  = "flood"  // as many bytes as are taken
	hangUp = "hangup" // the connection ends
)

// delivery is one message as the server took it.
type delivery struct {
	from string
	to   []string
	text []byte
}

// server is a mail server that can be told to misbehave at any step. tests/services has a real one; this one has its faults.
type server struct {
	t        *testing.T
	listener net.Listener
	identity *tls.Config
	ca       string // PEM of its certificate, as a file
	fromTLS  bool

	mu    sync.Mutex
	does  map[string]string // at a step: "greeting", a command as it begins, "login", "." for the end of a message
	ext   []string          // what it offers beside STARTTLS
	got   []delivery
	heard []string // all commands
	open  int      // connections
}

// host is none of the names under which go-mail gives a password away in the open.
const host = "127.0.0.2"

// certified makes a certificate for an address, and the file to check it with.
func certified(t *testing.T, ip string) (*tls.Config, string) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour), IPAddresses: []net.IP{net.ParseIP(ip)},
		IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	ca := filepath.Join(t.TempDir(), "ca.pem")
	if err := os.WriteFile(ca, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), 0o600); err != nil {
		t.Fatal(err)
	}
	return &tls.Config{Certificates: []tls.Certificate{{Certificate: [][]byte{der}, PrivateKey: key}}}, ca
}

// newServer starts one that offers STARTTLS and a login.
func newServer(t *testing.T, fromTLS bool) *server {
	t.Helper()
	identity, ca := certified(t, host)
	l, err := net.Listen("tcp", host+":0")
	if err != nil {
		t.Fatal(err)
	}
	s := &server{t: t, listener: l, identity: identity, ca: ca, fromTLS: fromTLS, does: map[string]string{}, ext: []string{"AUTH PLAIN LOGIN", "8BITMIME", "SMTPUTF8"}}
	t.Cleanup(func() { _ = l.Close() })
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			go s.serve(c)
		}
	}()
	return s
}

// at sets what the server does at a step; empty for the usual.
func (s *server) at(step, does string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.does[step] = does
}

func (s *server) offers(ext ...string) { s.mu.Lock(); s.ext = ext; s.mu.Unlock() }

func (s *server) taken() []delivery {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]delivery(nil), s.got...)
}

func (s *server) said() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return strings.Join(s.heard, "\n")
}

// address is where it listens.
func (s *server) address() string { return s.listener.Addr().String() }

// config is a channel's that fits.
func (s *server) config(to ...string) mail.Config {
	s.t.Helper()
	if len(to) == 0 {
		to = []string{"keeper@example.org"}
	}
	file := filepath.Join(s.t.TempDir(), "password")
	if err := os.WriteFile(file, []byte(password+"\n"), 0o600); err != nil {
		s.t.Fatal(err)
	}
	c := mail.Config{Server: s.address(), Username: user, PasswordFile: file, From: "The Barn <" + user + ">", To: to, CAFile: s.ca}
	if s.fromTLS {
		c.TLS = "tls"
	}
	return c
}

// conversation is one connection.
type conversation struct {
	*server
	conn net.Conn
	in   *bufio.Reader
	now  delivery
	box  bool // encrypted
}

func (s *server) serve(c net.Conn) {
	s.mu.Lock()
	s.open++
	s.mu.Unlock()
	defer func() {
		_ = c.Close()
		s.mu.Lock()
		s.open--
		s.mu.Unlock()
	}()
	if s.fromTLS {
		c = tls.Server(c, s.identity)
	}
	v := &conversation{server: s, conn: c, in: bufio.NewReader(c), box: s.fromTLS}
	if !v.answer("greeting", "220 mail.example.org ready") {
		return
	}
	for {
		text, err := v.in.ReadString('\n')
		if err != nil || !v.take(strings.TrimRight(text, "\r\n")) {
			return
		}
	}
}

// answer does at a step what it was told to, or gives the usual answer. It reports whether the conversation goes on.
func (v *conversation) answer(step, usual string) bool {
	v.mu.Lock()
	text := v.does[step]
	v.mu.Unlock()
	switch text {
	case "":
		text = usual
	case mute:
		_, _ = v.in.ReadByte() // until the other side goes
		return false
	case hangUp:
		return false
	case drip, flood:
		wait, piece := 20*time.Millisecond, "2"
		if text == flood {
			wait, piece = 0, strings.Repeat("x", 4096)
		}
		for {
			if _, err := fmt.Fprint(v.conn, piece); err != nil {
				return false
			}
			time.Sleep(wait)
		}
	}
	_, err := fmt.Fprintf(v.conn, "%s\r\n", text)
	return err == nil && text == usual
}

// take handles one command. A refusal leaves the conversation open, as servers do.
func (v *conversation) take(line string) bool {
	v.mu.Lock()
	v.heard = append(v.heard, line)
	ext := append([]string{}, v.ext...)
	step := ""
	for s := range v.does { // the longest that fits: RCPT TO:<a@b> before RCPT
		if strings.HasPrefix(strings.ToUpper(line), strings.ToUpper(s)) && len(s) > len(step) && v.does[s] != "" {
			step = s
		}
	}
	misbehaves := v.does[step]
	v.mu.Unlock()
	verb, rest, _ := strings.Cut(line, " ")
	if misbehaves != "" && step != "" {
		v.answer(step, "")
		return misbehaves != mute && misbehaves != hangUp && misbehaves != drip && misbehaves != flood
	}
	switch strings.ToUpper(verb) {
	case "EHLO":
		if !v.box {
			ext = append(ext, "STARTTLS")
		}
		text := "250-mail.example.org"
		for i, e := range ext {
			text += "\r\n250" + map[bool]string{true: " ", false: "-"}[i == len(ext)-1] + e
		}
		return v.answer("", text)
	case "STARTTLS":
		if !v.answer("", "220 go on") {
			return false
		}
		inside := tls.Server(v.conn, v.identity)
		v.conn, v.in, v.box = inside, bufio.NewReader(inside), true
		return true
	case "AUTH":
		return v.login(rest)
	case "MAIL":
		v.now = delivery{from: rest}
	case "RCPT":
		v.now.to = append(v.now.to, strings.Trim(strings.TrimPrefix(rest, "TO:"), "<>"))
	case "DATA":
		if !v.answer("", "354 go on") {
			return false
		}
		text, err := textproto.NewReader(v.in).ReadDotBytes()
		if err != nil {
			return false
		}
		v.now.text = text
		if !v.answer(".", "250 taken") {
			v.mu.Lock()
			defer v.mu.Unlock()
			return strings.HasPrefix(v.does["."], "4") || strings.HasPrefix(v.does["."], "5")
		}
		v.mu.Lock()
		v.got = append(v.got, v.now)
		v.mu.Unlock()
		return true
	case "QUIT":
		v.answer("", "221 bye")
		return false
	}
	return v.answer("", "250 ok")
}

func (v *conversation) login(rest string) bool {
	mechanism, first, _ := strings.Cut(rest, " ")
	ask := func(what string) string {
		v.answer("", "334 "+base64.StdEncoding.EncodeToString([]byte(what)))
		text, _ := v.in.ReadString('\n')
		return strings.TrimRight(text, "\r\n")
	}
	var given string
	if mechanism == "LOGIN" {
		given = plain(ask("Username:")) + "\x00" + plain(ask("Password:"))
	} else {
		given = strings.TrimPrefix(plain(first), "\x00")
	}
	if given != user+"\x00"+password {
		return v.answer("", "535 5.7.8 wrong")
	}
	if !v.answer("login", "235 welcome") {
		v.mu.Lock()
		defer v.mu.Unlock()
		return strings.HasPrefix(v.does["login"], "4") || strings.HasPrefix(v.does["login"], "5")
	}
	return true
}

func plain(text string) string {
	b, _ := base64.StdEncoding.DecodeString(text)
	return string(b)
}

// behave puts the server into a conduct of the suite.
func (s *server) behave(c sinktest.Conduct) {
	s.mu.Lock()
	s.does = map[string]string{}
	s.mu.Unlock()
	switch c {
	case sinktest.Fails:
		s.at(".", "451 4.3.0 later")
	case sinktest.Refuses:
		s.at(".", "554 5.6.0 not that")
	case sinktest.Hangs:
		s.at(".", mute)
	case sinktest.Absent:
		s.at("greeting", hangUp)
	}
}

// open makes a channel.
func open(t *testing.T, c mail.Config) *mail.Mailer {
	t.Helper()
	m, err := mail.New("post", alarm.Notice, c)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// read parses a delivery by the standard library.
func read(t *testing.T, d delivery) *netmail.Message {
	t.Helper()
	m, err := netmail.ReadMessage(bytes.NewReader(d.text))
	if err != nil {
		t.Fatalf("%v in\n%s", err, d.text)
	}
	return m
}
