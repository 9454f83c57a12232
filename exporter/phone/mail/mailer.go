package mail

import (
	"context"
	"errors"
	"fmt"
	netmail "net/mail"
	"slices"
	"strings"
	"sync"
	"time"

	"nestmon/exporter"
	"nestmon/thresholds/alarm"
)

// deadline is how long one send may take, from the first packet to the server's yes; a healthy server needs a second or two. It is
// below the 20 s that the daemon grants a call. Ours, no source.
const deadline = 15 * time.Second

// Mailer sends messages by mail. It may be used by any number of goroutines.
type Mailer struct {
	name     string
	level    alarm.Severity
	cfg      Config
	limit    time.Duration // of one send
	password exporter.Secret
	from     *netmail.Address
	to       []*netmail.Address

	mu  sync.Mutex
	has map[string][]string // who has a message that others still wait for, by its id
}

var _ exporter.MessageSink = (*Mailer)(nil)

// New prepares a channel that carries what is at least of a level. It fails only when the configuration or the file it names cannot be used.
func New(name string, level alarm.Severity, c Config) (*Mailer, error) {
	m := &Mailer{name: name, level: level, cfg: c, limit: deadline, has: map[string][]string{}}
	var wrong []error
	c.Validate(func(path, problem string) { wrong = append(wrong, fmt.Errorf("%s %s", path, problem)) })
	err := errors.Join(wrong...)
	if err == nil {
		m.password, err = c.password()
	}
	if err == nil {
		_, err = c.trust()
	}
	if err != nil {
		return nil, fmt.Errorf("mail %s: %w", name, err)
	}
	if m.from, err = parse(c.From); err != nil {
		return nil, fmt.Errorf("mail %s: from %w", name, err)
	}
	for _, text := range c.To {
		to, err := parse(text)
		if err != nil {
			return nil, fmt.Errorf("mail %s: to %w", name, err)
		}
		m.to = append(m.to, to)
	}
	return m, nil
}

// Name is the channel's.
func (m *Mailer) Name() string { return m.name }

// Try logs in to the server and leaves again; nothing is sent.
func (m *Mailer) Try(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, m.limit)
	defer cancel()
	s, err := m.enter(ctx)
	if err != nil {
		return m.judge(err, "")
	}
	s.leave(nil)
	return nil
}

// Send delivers one message. What is below the channel's level counts as delivered: it is not for this mailbox.
func (m *Mailer) Send(ctx context.Context, msg exporter.Message) error {
	if err := ctx.Err(); err != nil {
		return fmt.Errorf("mail %s: %w", m.name, err)
	}
	if !msg.Carried(m.level) {
		return nil
	}
	text, err := m.write(msg)
	if err != nil {
		return exporter.Permanent(fmt.Errorf("mail %s: the message cannot be written as mail: %w", m.name, err))
	}
	ctx, cancel := context.WithTimeout(ctx, m.limit)
	defer cancel()
	s, err := m.enter(ctx)
	if err != nil {
		return m.judge(err, msg.Link)
	}
	taken, refused, err := s.hand(m.from, m.waiting(msg.ID), text)
	s.leave(err)
	if err != nil {
		err = m.judge(err, msg.Link)
		if exporter.IsPermanent(err) {
			m.forget(msg.ID)
		}
		return err
	}
	return m.settle(msg, taken, refused)
}

// waiting are the recipients that have not got a message yet.
func (m *Mailer) waiting(id string) []*netmail.Address {
	m.mu.Lock()
	defer m.mu.Unlock()
	return slices.DeleteFunc(slices.Clone(m.to), func(a *netmail.Address) bool { return slices.Contains(m.has[id], a.Address) })
}

func (m *Mailer) forget(id string) {
	m.mu.Lock()
	defer m.mu.Unlock()
	delete(m.has, id)
}

// settle says what became of a message that some recipients got and others did not.
func (m *Mailer) settle(msg exporter.Message, taken []string, refused []refusal) error {
	if len(refused) == 0 {
		m.forget(msg.ID)
		return nil
	}
	m.mu.Lock()
	have := slices.Concat(m.has[msg.ID], taken)
	if len(have) > 0 {
		m.has[msg.ID] = have
	}
	m.mu.Unlock()
	var said []string
	worst := refused[0].failure // one that is put off, where there is one: it alone decides when to try again
	for _, r := range refused {
		said = append(said, fmt.Sprintf("%s was refused: %s", r.who, m.tidy(r.failure.Error(), msg.Link)))
		if r.failure.temporary() {
			worst = r.failure
		}
	}
	text := fmt.Sprintf("mail %s: %s: %s", m.name, m.cfg.address(), strings.Join(said, ", "))
	if len(have) > 0 {
		text += "; " + strings.Join(have, " and ") + " got it"
	}
	if len(have) > 0 && !worst.temporary() {
		m.forget(msg.ID)
		return exporter.Permanent(errors.New(text + "; check to"))
	}
	v := m.weigh(worst.at, worst.reply())
	return &trouble{text + "; " + v.remedy, v.wrong, v.wait}
}
