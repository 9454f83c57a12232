package mail

import (
	"crypto/tls"
	"crypto/x509"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"net"
	"net/textproto"
	"net/url"
	"strings"
	"syscall"
	"time"

	"nestmon/exporter"
)

const (
	// slowly is the wait after a refused login: services lock out who knocks with a wrong password too often. Ours, no source.
	slowly = 5 * time.Minute
	// textLimit keeps a server's words on a line or two, in bytes. Ours, no source.
	textLimit = 200
)

// trouble is an error that another try may cure. It holds words alone, and no error that might tell a secret.
type trouble struct {
	text  string
	wrong bool // a person must put something right
	wait  time.Duration
}

func (t *trouble) Error() string { return t.text }

// Misconfigured reports whether a person must put something right.
func (t *trouble) Misconfigured() bool { return t.wrong }

// RetryAfter is how long to wait, 0 when it does not matter.
func (t *trouble) RetryAfter() time.Duration { return t.wait }

// wrongFile is a file that cannot be used; its remedy is in it.
type wrongFile struct{ error }

func (w wrongFile) Unwrap() error { return w.error }

// verdict is what a failure means.
type verdict struct {
	what, remedy string
	wrong        bool // a person must put something right; the message waits
	final        bool // this message is refused for good
	wait         time.Duration
}

// judge puts a failure into words with a remedy. link is the message's, and secret.
func (m *Mailer) judge(err error, link string) error {
	var f *failure
	if !errors.As(err, &f) {
		f = &failure{dialling, err}
	}
	v := diagnose(f)
	if said := f.reply(); said != nil {
		v = m.weigh(f.at, said)
	}
	text := fmt.Sprintf("mail %s: %s: ", m.name, m.cfg.address())
	if v.what != "" {
		text += v.what + ": "
	}
	text += m.tidy(f.Error(), link)
	if v.remedy != "" {
		text += "; " + v.remedy
	}
	if v.final {
		return exporter.Permanent(errors.New(text))
	}
	return &trouble{text, v.wrong, v.wait}
}

// Codes of RFC 4954, 6 about the login.
const (
	needsLogin  = 530
	tooWeak     = 534
	wrongLogin  = 535
	needsCipher = 538
)

// weigh says what a server's refusal means.
func (m *Mailer) weigh(at stage, said *textproto.Error) verdict {
	switch {
	case said.Code < 500:
		return verdict{what: "the server asks for patience at " + string(at), remedy: "tried again"}
	case said.Code == needsLogin && m.cfg.tls() == noTLS:
		return verdict{what: "the server wants TLS or a login", remedy: "write tls: starttls, and username and password_file", wrong: true}
	case said.Code == needsLogin && m.cfg.Username == "":
		return verdict{what: "the server wants a login", remedy: "write username and password_file", wrong: true}
	case said.Code == needsLogin, said.Code == tooWeak, said.Code == wrongLogin, said.Code == needsCipher, at == login:
		return verdict{
			what:   "the server refused the login",
			remedy: "check username and password_file (many services want a password of its own for each program); tried again slowly, nothing is lost",
			wrong:  true, wait: slowly,
		}
	case at == content && !aboutPeople(said):
		return verdict{what: "the server refused this message for good", final: true}
	}
	return verdict{what: "the server refused " + string(at), remedy: refusals[at] + "; nothing is lost", wrong: true}
}

// refusals is what to do about a refusal, by where it came.
var refusals = map[stage]string{
	greeting:  "ask whoever runs the server why it takes no mail from this machine, and check server: it is the one for sending, not the one for reading",
	securing:  "write tls: tls, or the server's port for STARTTLS, usually 587",
	sender:    "check from: the server must let username send as it",
	recipient: "check to; where the server relays for nobody it does not know, write username and password_file",
	offer:     "ask whoever runs the server what it dislikes",
	content:   "check from (the server must let username send as it) and to (is the mailbox there, and not full?)",
}

// aboutPeople tells a refusal that is about sender or recipient from one that is about the words: another try can help when the mailbox was
// emptied or the sender put right. Basic codes by RFC 5321, 4.2.3; 552 means a full mailbox or a message too long, which RFC 3463, 3.3 tells apart.
func aboutPeople(said *textproto.Error) bool {
	switch said.Code {
	case 550, 551, 553:
		return true
	}
	fine, _, _ := strings.Cut(said.Msg, " ")
	return strings.HasPrefix(fine, "5.1.") || strings.HasPrefix(fine, "5.2.") && fine != "5.2.3"
}

// diagnose says what an error of the connection means.
func diagnose(f *failure) verdict {
	var (
		unknown x509.UnknownAuthorityError
		name    x509.HostnameError
		invalid x509.CertificateInvalidError
		lookup  *net.DNSError
		strange textproto.ProtocolError
		timeout net.Error
	)
	switch {
	case errors.As(f.err, new(wrongFile)):
		return verdict{wrong: true}
	case errors.Is(f.err, errNoStartTLS):
		return verdict{remedy: "nothing was sent in the open; write tls: tls and its port, usually 465, or ask for the server's port for STARTTLS, usually 587", wrong: true}
	case errors.Is(f.err, errNoLogin):
		return verdict{remedy: "ask for the server's port for sending, usually 587; a service that takes no passwords cannot be used", wrong: true}
	case errors.As(f.err, &unknown):
		return verdict{what: "the server's certificate is not trusted", remedy: "check server, or write the certificate that signed the server's as ca_file", wrong: true}
	case errors.As(f.err, &name):
		return verdict{what: "the server's certificate is for another name", remedy: "write the server's name as it stands in its certificate", wrong: true}
	case errors.As(f.err, &invalid) && invalid.Reason == x509.Expired && invalid.Cert != nil && time.Now().Before(invalid.Cert.NotBefore):
		return verdict{what: "the server's certificate is not valid yet", remedy: "is this machine's clock set?"}
	case errors.As(f.err, &invalid):
		return verdict{what: "the server's certificate cannot be used", remedy: "have it renewed, or set this machine's clock", wrong: true}
	case errors.As(f.err, new(tls.RecordHeaderError)):
		return verdict{what: "this port is not encrypted from the first byte", remedy: "write tls: starttls, or the server's port for TLS, usually 465", wrong: true}
	case errors.As(f.err, &lookup) && lookup.IsNotFound:
		return verdict{what: "no machine has this name", remedy: "check the spelling of server", wrong: true}
	case errors.As(f.err, &lookup):
		return verdict{what: "cannot ask for the server's address", remedy: "is the network up?"}
	case errors.As(f.err, &strange):
		return verdict{what: "what answers there is no server for sending mail", remedy: "check host and port of server, usually 587, with tls: tls 465", wrong: true}
	case errors.Is(f.err, syscall.ECONNREFUSED):
		return verdict{what: "nobody listens there", remedy: "is the server running, and are host and port right? usually 587, with tls: tls 465"}
	case errors.As(f.err, &timeout) && timeout.Timeout() && f.at == greeting:
		return verdict{what: "no greeting in time", remedy: "is the server well? A port that is encrypted from the first byte wants tls: tls"}
	case errors.As(f.err, &timeout) && timeout.Timeout():
		return verdict{what: "no answer in time at " + string(f.at), remedy: "tried again"}
	case errors.Is(f.err, io.EOF), errors.Is(f.err, io.ErrUnexpectedEOF), errors.Is(f.err, syscall.ECONNRESET), errors.Is(f.err, syscall.EPIPE):
		return verdict{what: "the connection ended at " + string(f.at), remedy: "tried again"}
	}
	return verdict{what: "trouble at " + string(f.at), remedy: "tried again"}
}

// tidy makes words of others fit for a log: one line, short, and without what is secret, as servers like to repeat what they were told.
func (m *Mailer) tidy(text, link string) string {
	text = strings.Join(strings.Fields(text), " ")
	for _, secret := range m.secrets(link) {
		text = strings.ReplaceAll(text, secret, exporter.NewSecret(secret).String())
	}
	if len(text) > textLimit {
		text = strings.ToValidUTF8(text[:textLimit], "") + "…"
	}
	return text
}

// secrets are the texts by which the password and the link could come back, the longest first.
func (m *Mailer) secrets(link string) (all []string) {
	if link != "" {
		all = append(all, link)
		if u, err := url.Parse(link); err == nil && len(u.RequestURI()) > 1 {
			all = append(all, u.RequestURI())
		}
	}
	if m.password.IsSet() {
		p := m.password.Reveal()
		for _, told := range []string{"\x00" + m.cfg.Username + "\x00" + p, p} {
			all = append(all, base64.StdEncoding.EncodeToString([]byte(told)))
		}
		all = append(all, strings.Join(strings.Fields(p), " "))
	}
	return all
}
