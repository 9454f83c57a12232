package push

import (
	"cmp"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"time"
	"unicode"

	webpush "github.com/SherClockHolmes/webpush-go"

	"nestmon/exporter"
)

// Store is what a channel needs of the archive.
type Store interface {
	Meta(key string) (string, error) // "" when there is none
	SetMeta(key, value string) error // durable before it returns
}

const (
	metaKey    = "push"         // there is one channel of this kind
	damagedKey = "push.damaged" // what could not be read

	maxPhones = 20  // ours, no source: a household has a handful
	maxDone   = 200 // messages some phones have and others do not. Ours, no source: each waits in the archive meanwhile
	maxLost   = maxPhones
)

// phone is one subscription as it is stored.
type phone struct {
	Endpoint string    `json:"endpoint"`
	P256dh   string    `json:"p256dh"`
	Auth     string    `json:"auth"`
	Label    string    `json:"label"`
	Agent    string    `json:"agent,omitempty"`
	Since    time.Time `json:"since"`
	LastOK   time.Time `json:"last_ok,omitzero"`
}

func (p phone) id() string { return idOf(p.Endpoint) }

// idBytes make an id of 16 characters. Ours.
const idBytes = 12

// idOf can be worked out by the page too, to see whether its own phone is among those listed.
func idOf(endpoint string) string {
	sum := sha256.Sum256([]byte(endpoint))
	return base64.RawURLEncoding.EncodeToString(sum[:idBytes])
}

// lost is a phone whose push service knows it no more.
type lost struct {
	ID    string    `json:"id"`
	Label string    `json:"label"`
	Agent string    `json:"agent,omitempty"`
	Since time.Time `json:"since"`
	At    time.Time `json:"at"`
}

// done is what some phones have and others do not.
type done struct {
	Message string   `json:"message"`
	Phones  []string `json:"phones"` // ids
}

// pages is what is stored, as one value.
type pages struct {
	Private string  `json:"private"` // of the VAPID key pair, base64url
	Public  string  `json:"public"`
	Phones  []phone `json:"phones"`
	Lost    []lost  `json:"lost"`
	Done    []done  `json:"done"`
}

// book remembers the key pair, the phones, and which phone has what. It may be used by any number of goroutines. A store that cannot be read
// is asked again by every call, so that nothing is overwritten that is only out of reach.
type book struct {
	store Store
	log   *slog.Logger
	now   func() time.Time

	mu     sync.Mutex
	loaded bool
	pages
}

// load reads what is stored, or begins it. It is called with the lock held.
func (b *book) load() error {
	if b.loaded {
		return nil
	}
	text, err := b.store.Meta(metaKey)
	if err != nil {
		return fmt.Errorf("reading which phones have signed up: %w; look at the archive's card", err)
	}
	var read pages
	if text != "" && (json.Unmarshal([]byte(text), &read) != nil || read.Private == "" || read.Public == "") {
		b.log.Error("what was kept of phones that signed up cannot be read and was set aside; sign each up again", "key", damagedKey)
		if err := b.store.SetMeta(damagedKey, text); err != nil {
			return fmt.Errorf("setting aside what was kept of phones: %w; look at the archive's card", err)
		}
		text, read = "", pages{}
	}
	b.pages, b.loaded = read, true
	if text != "" {
		return nil
	}
	if b.Private, b.Public, err = webpush.GenerateVAPIDKeys(); err != nil {
		b.loaded = false
		return fmt.Errorf("making a key pair: %w", err)
	}
	if err := b.save(); err != nil {
		b.loaded = false
		return err
	}
	return nil
}

func (b *book) save() error {
	text, err := json.Marshal(b.pages)
	if err == nil {
		err = b.store.SetMeta(metaKey, string(text))
	}
	if err != nil {
		return fmt.Errorf("storing which phones have signed up: %w; free or replace the archive's card", err)
	}
	return nil
}

// change lets f change what is known, and takes it back where it cannot be stored.
func (b *book) change(f func() error) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if err := b.load(); err != nil {
		return err
	}
	before := b.pages
	b.Phones, b.Lost = slices.Clone(b.Phones), slices.Clone(b.Lost)
	err := f()
	if err == nil {
		err = b.save()
	}
	if err != nil {
		b.pages = before
	}
	return err
}

func (b *book) keys() (private, public string, err error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	err = b.load()
	return b.Private, b.Public, err
}

func (b *book) list() ([]exporter.Phone, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if err := b.load(); err != nil {
		return nil, err
	}
	var out []exporter.Phone
	for _, p := range b.Phones {
		out = append(out, exporter.Phone{ID: p.id(), Label: p.Label, Agent: p.Agent, Since: p.Since, LastOK: p.LastOK})
	}
	for _, l := range b.Lost {
		out = append(out, exporter.Phone{ID: l.ID, Label: l.Label, Agent: l.Agent, Since: l.Since, Gone: l.At})
	}
	return out, nil
}

// add signs a phone up. It ends the search for one of the same name that was lost.
func (b *book) add(s exporter.Subscription) error {
	p := phone{
		Endpoint: s.Endpoint.Reveal(), P256dh: s.P256dh, Auth: s.Auth.Reveal(), Since: b.now(),
		Label: plain(s.Label, maxLabel), Agent: plain(s.Agent, maxAgent),
	}
	if p.Label == "" {
		return errLabel
	}
	return b.change(func() error {
		b.Lost = slices.DeleteFunc(b.Lost, func(l lost) bool { return l.ID == p.id() || l.ID == s.Replaces || strings.EqualFold(l.Label, p.Label) })
		b.Phones = slices.DeleteFunc(b.Phones, func(have phone) bool { return have.id() == s.Replaces && s.Replaces != p.id() })
		if i := slices.IndexFunc(b.Phones, func(have phone) bool { return have.Endpoint == p.Endpoint }); i >= 0 {
			p.LastOK = b.Phones[i].LastOK
			b.Phones[i] = p
			return nil
		}
		if len(b.Phones) >= maxPhones {
			return fmt.Errorf("%d phones have signed up, which is the most; take one off first", maxPhones)
		}
		b.Phones = append(b.Phones, p)
		return nil
	})
}

// plain is s as one line of at most that many characters.
func plain(s string, most int) string {
	s = strings.Map(func(r rune) rune {
		if unicode.IsPrint(r) {
			return r
		}
		return ' '
	}, strings.ToValidUTF8(s, " "))
	r := []rune(strings.Join(strings.Fields(s), " "))
	return strings.TrimSpace(string(r[:min(len(r), most)]))
}

func (b *book) remove(which string) error {
	return b.change(func() error {
		b.Phones = slices.DeleteFunc(b.Phones, func(p phone) bool { return p.Endpoint == which || p.id() == which })
		b.Lost = slices.DeleteFunc(b.Lost, func(l lost) bool { return l.ID == which || l.ID == idOf(which) })
		return nil
	})
}

var errUnknown = errors.New("this phone is not signed up; sign it up first")

func (b *book) find(which string) (phone, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if err := b.load(); err != nil {
		return phone{}, err
	}
	i := slices.IndexFunc(b.Phones, func(p phone) bool { return p.Endpoint == which || p.id() == which })
	if i < 0 {
		return phone{}, errUnknown
	}
	return b.Phones[i], nil
}

// owed lists the phones that do not have the message yet, and says whether one has it.
func (b *book) owed(message string) (left []phone, had bool, err error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if err := b.load(); err != nil {
		return nil, false, err
	}
	var have []string
	if i := slices.IndexFunc(b.Done, func(d done) bool { return d.Message == message }); i >= 0 {
		have = b.Done[i].Phones
	}
	for _, p := range b.Phones {
		if !slices.Contains(have, p.id()) {
			left = append(left, p)
		}
	}
	return left, len(have) > 0, nil
}

// note writes down what came of one message: who has it now, and who is gone. Where more tries follow it remembers who has it. What cannot
// be stored is remembered until the program ends: a phone may then be called twice, which is better than not at all.
func (b *book) note(message string, took, gone []phone, more bool) {
	if more && len(took)+len(gone) == 0 {
		return // nothing new, and nothing to write for every try
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	now := b.now()
	b.Phones = slices.Clone(b.Phones)
	for _, t := range took {
		if i := slices.IndexFunc(b.Phones, func(p phone) bool { return p.Endpoint == t.Endpoint }); i >= 0 {
			b.Phones[i].LastOK = now
		}
	}
	for _, g := range gone {
		// Who signed up again meanwhile has other keys.
		before := len(b.Phones)
		b.Phones = slices.DeleteFunc(b.Phones, func(p phone) bool { return p.Endpoint == g.Endpoint && p.Auth == g.Auth })
		if len(b.Phones) < before {
			b.Lost = append(b.Lost, lost{g.id(), g.Label, g.Agent, g.Since, now})
		}
	}
	b.Lost = b.Lost[max(len(b.Lost)-maxLost, 0):]
	b.record(message, took, more)
	if err := b.save(); err != nil {
		b.log.Warn("who was called is remembered only until the program ends", "err", err)
	}
}

func (b *book) record(message string, took []phone, more bool) {
	d := done{Message: message}
	b.Done = slices.DeleteFunc(slices.Clone(b.Done), func(have done) bool {
		if have.Message == message {
			d = have
		}
		return have.Message == message
	})
	for _, p := range took {
		d.Phones = append(slices.Clip(d.Phones), p.id())
	}
	if more && len(d.Phones) > 0 {
		b.Done = append(b.Done, d)
	}
	b.Done = b.Done[max(len(b.Done)-maxDone, 0):]
}

// complaint is what a person should know although nothing waits.
func (b *book) complaint() error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if err := b.load(); err != nil {
		return err
	}
	if len(b.Phones) == 0 && len(b.Lost) == 0 {
		return errNobody
	}
	if len(b.Lost) > 0 {
		newest := slices.MaxFunc(b.Lost, func(x, y lost) int { return cmp.Compare(x.At.UnixNano(), y.At.UnixNano()) })
		return lostError(newest.Label, len(b.Lost)-1)
	}
	return nil
}
