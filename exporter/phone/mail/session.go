package mail

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	netmail "net/mail"
	"net/textproto"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/wneessen/go-mail/smtp"
)

const (
	// farewell is how long QUIT may wait for its answer: the message has long been taken. Ours, no source.
	farewell = 2 * time.Second
	// mostBytes is all that a server may say in one connection, its certificates included; an honest one needs a few thousand. Ours, no source.
	mostBytes = 256 << 10
)

// stage is how far a connection came.
type stage string

const (
	dialling  stage = "connecting"
	greeting  stage = "the greeting"
	securing  stage = "TLS"
	login     stage = "the login"
	sender    stage = "the sender"
	recipient stage = "the recipient"
	offer     stage = "the message's announcement"
	content   stage = "the message"
)

// failure is why a connection came to nothing, and where.
type failure struct {
	at  stage
	err error
}

// Error says what the server said, or what is wrong with the connection.
func (f *failure) Error() string {
	if said := f.reply(); said != nil {
		return fmt.Sprintf("%d %s", said.Code, said.Msg) // as it was said; the error's own text has it quoted
	}
	return f.err.Error()
}

func (f *failure) Unwrap() error { return f.err }

// reply is the server's answer, where that was it.
func (f *failure) reply() *textproto.Error {
	var said *textproto.Error
	if errors.As(f.err, &said) {
		return said
	}
	return nil
}

// temporary reports whether the server itself asks for another try.
func (f *failure) temporary() bool { said := f.reply(); return said != nil && said.Code < 500 }

// refusal is a recipient that the server did not take.
type refusal struct {
	who     string
	failure *failure
}

// What a server lacks.
var (
	errNoStartTLS = errors.New("the server offers no STARTTLS")
	errNoLogin    = errors.New("the server offers no login that nestmon knows (PLAIN, LOGIN)")
	errFlood      = errors.New("the server said too much")
)

// session is one connection, logged in.
type session struct {
	client *smtp.Client
	line   *line
}

// line is a connection that ends with its context. Only go-mail's package for single commands is used on it: the client above it counts the
// time anew at each step and forgets the context once connected, so that a server that answers late takes several times what was granted.
type line struct {
	net.Conn
	until time.Time
	left  int   // bytes that the server may still say
	broke error // why nothing more can be read
	stop  func() bool
}

func open(ctx context.Context, address string) (*line, error) {
	conn, err := new(net.Dialer).DialContext(ctx, "tcp", address)
	if err != nil {
		return nil, err
	}
	l := &line{Conn: conn, left: mostBytes}
	l.until, _ = ctx.Deadline()
	if err := conn.SetDeadline(l.until); err != nil {
		return nil, errors.Join(err, conn.Close())
	}
	l.stop = context.AfterFunc(ctx, func() { _ = conn.SetDeadline(time.Unix(1, 0)) }) // the past
	return l, nil
}

// Read implements io.Reader. It is called by one goroutine.
func (l *line) Read(to []byte) (int, error) {
	if l.left <= 0 {
		l.broke = errFlood
		return 0, l.broke
	}
	n, err := l.Conn.Read(to[:min(len(to), l.left)])
	l.left -= n
	if err != nil {
		l.broke = err
	}
	return n, err
}

// fail tells where a connection failed and why. Half an answer looks like one that is no SMTP: why it stayed half is nearer to the truth.
func (l *line) fail(at stage, err error) *failure {
	if l.broke != nil && errors.As(err, new(textproto.ProtocolError)) {
		err = l.broke
	}
	return &failure{at, err}
}

// Close ends the connection.
func (l *line) Close() error {
	l.stop()
	return l.Conn.Close()
}

// trust is how the server's certificate is checked. The file is read for each connection: a new authority needs no restart.
func (c Config) trust() (*tls.Config, error) {
	host, _ := c.endpoint()
	t := &tls.Config{ServerName: host, MinVersion: tls.VersionTLS12}
	if c.CAFile == "" {
		return t, nil
	}
	text, err := os.ReadFile(c.CAFile)
	if err != nil {
		return nil, fmt.Errorf("ca_file: %w; make the file readable for this user", err)
	}
	t.RootCAs = x509.NewCertPool()
	if !t.RootCAs.AppendCertsFromPEM(text) {
		return nil, fmt.Errorf("ca_file: %s holds no PEM certificate; write the file that signed the server's certificate", c.CAFile)
	}
	return t, nil
}

// enter connects, encrypts and logs in. Its errors are failures.
func (m *Mailer) enter(ctx context.Context) (_ *session, err error) {
	trust, err := m.cfg.trust()
	if err != nil {
		return nil, &failure{securing, wrongFile{err}}
	}
	l, err := open(ctx, m.cfg.address())
	if err != nil {
		return nil, &failure{dialling, err}
	}
	defer func() {
		if err != nil {
			_ = l.Close()
		}
	}()
	var conn net.Conn = l
	if m.cfg.tls() == fromTLS {
		inside := tls.Client(l, trust)
		if err := inside.HandshakeContext(ctx); err != nil {
			return nil, l.fail(securing, err)
		}
		conn = inside // and not within anything: go-mail sees by the type that it is encrypted
	}
	host, _ := m.cfg.endpoint()
	client, err := smtp.NewClient(conn, host)
	if err != nil {
		return nil, l.fail(greeting, err)
	}
	client.SkipSMTPUTF8(true) // or a server far behind that lacks it sends the message back, though it needs none of it
	if err := client.Hello(literal(l.LocalAddr())); err != nil {
		return nil, l.fail(greeting, err)
	}
	if m.cfg.tls() == startTLS {
		if offered, _ := client.Extension("STARTTLS"); !offered {
			return nil, l.fail(securing, errNoStartTLS)
		}
		if err := client.StartTLS(trust); err != nil {
			return nil, l.fail(securing, err)
		}
	}
	if err := m.authenticate(client, host); err != nil {
		return nil, l.fail(login, err)
	}
	return &session{client, l}, nil
}

// literal is how a machine without a name of its own introduces itself (RFC 5321, 4.1.3).
func literal(a net.Addr) string {
	tcp, ok := a.(*net.TCPAddr)
	switch {
	case !ok:
		return "localhost"
	case tcp.IP.To4() == nil:
		return "[IPv6:" + tcp.IP.String() + "]"
	}
	return "[" + tcp.IP.String() + "]"
}

// authenticate gives the password in the plain way: what is encrypted and has shown its certificate may have it, and many servers offer other
// ways that work for none of their users.
func (m *Mailer) authenticate(client *smtp.Client, host string) error {
	if m.cfg.Username == "" {
		return nil
	}
	_, text := client.Extension("AUTH")
	offered := strings.Fields(strings.ToUpper(text))
	inTheOpen := m.cfg.tls() == noTLS // to this machine alone
	switch {
	case slices.Contains(offered, "PLAIN"):
		return client.Auth(smtp.PlainAuth("", m.cfg.Username, m.password.Reveal(), host, inTheOpen))
	case slices.Contains(offered, "LOGIN"):
		return client.Auth(smtp.LoginAuth(m.cfg.Username, m.password.Reveal(), host, inTheOpen))
	}
	return errNoLogin
}

// hand gives the message to the server for all recipients that it takes. Each recipient is asked for by itself: go-mail's own client gives
// up for all when one is refused. An error means that nobody has the message, or that nobody can tell.
func (s *session) hand(from *netmail.Address, to []*netmail.Address, text []byte) (taken []string, refused []refusal, err error) {
	if err := s.client.Mail(bare(from)); err != nil {
		return nil, nil, s.line.fail(sender, err)
	}
	for _, a := range to {
		f := s.line.fail(recipient, s.client.Rcpt(bare(a)))
		switch {
		case f.err == nil:
			taken = append(taken, a.Address)
		case f.reply() == nil:
			return nil, nil, f
		default:
			refused = append(refused, refusal{a.Address, f})
		}
	}
	if len(taken) == 0 {
		return nil, refused, nil
	}
	w, err := s.client.Data()
	if err != nil {
		return nil, nil, s.line.fail(offer, err)
	}
	if _, err := w.Write(text); err != nil { // and not closed: that would end the message here, and half of it would go out
		return nil, nil, s.line.fail(content, err)
	}
	if err := w.Close(); err != nil {
		return nil, nil, s.line.fail(content, err)
	}
	return taken, refused, nil
}

// bare is an address without the name of its person.
func bare(a *netmail.Address) string { return (&netmail.Address{Address: a.Address}).String() }

// leave says goodbye where the server still listens, and ends the connection. Nothing that goes wrong with it matters: a message that was
// taken stays so. After an error of the network no word may follow, for within a message it would end the message.
func (s *session) leave(err error) {
	var f *failure
	if err == nil || errors.As(err, &f) && f.reply() != nil {
		_ = s.client.UpdateDeadline(min(farewell, time.Until(s.line.until)))
		_ = s.client.Quit()
	}
	_ = s.line.Close()
}
