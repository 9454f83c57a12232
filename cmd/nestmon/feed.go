package main

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"sync/atomic"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/exporter/ical"
)

// feed is the calendar that phones subscribe to. There is none before somebody asks for its address: a secret that nobody wants need not be.
type feed struct {
	archive *archive.Archive
	site    ical.Calendar
	access  atomic.Pointer[feedAccess]

	past ical.Past // in the daemon's own goroutine alone, as what follows
	owed bool      // it could not be stored
}

// feedAccess is who may have the calendar, and which.
type feedAccess struct {
	Secret   string `json:"secret,omitempty"` // empty while it is off
	NotDaily bool   `json:"not_daily,omitempty"`
}

const (
	feedKey    = "calendar.access"
	feedPast   = "calendar.past"
	feedSecret = 32 // bytes, far beyond guessing
)

func openFeed(a *archive.Archive, cfg *config) (*feed, error) {
	f := &feed{archive: a, site: ical.Calendar{Site: cfg.Site.ID, Name: cfg.Site.Name + ": chores", Zone: cfg.location()}}
	access := feedAccess{}
	for _, k := range []struct {
		key  string
		into any
	}{{feedKey, &access}, {feedPast, &f.past}} {
		text, err := a.Meta(k.key)
		if err != nil {
			return nil, fmt.Errorf("reading the calendar's %s: %w", k.key, err)
		}
		if text != "" && json.Unmarshal([]byte(text), k.into) != nil {
			access, f.past = feedAccess{}, ical.Past{} // what is not understood gives nobody access
		}
	}
	f.access.Store(&access)
	return f, nil
}

// knows compares in constant time.
func (a *feedAccess) knows(secret exporter.Secret) bool {
	want, got := sha256.Sum256([]byte(a.Secret)), sha256.Sum256([]byte(secret.Reveal()))
	return subtle.ConstantTimeCompare(want[:], got[:]) == 1 && a.Secret != ""
}

// calendar is the chores as a file, and when it last changed, for who knows the secret.
func (d *daemon) calendar(ctx context.Context, secret exporter.Secret) (text []byte, changed time.Time, err error) {
	if d.bookUnread {
		return nil, changed, errBookUnread // nor the secret
	}
	if !d.feed.access.Load().knows(secret) {
		return nil, changed, exporter.ErrLinkUnknown
	}
	err = d.command(ctx, func() error {
		text, changed, err = d.writeCalendar(d.pace.Now())
		return err
	})
	return text, changed, err
}

// writeCalendar is calendar in the daemon's own goroutine. A phone keeps what it has rather than take what is not known yet.
func (d *daemon) writeCalendar(now time.Time) (text []byte, changed time.Time, err error) {
	switch {
	case d.latest.Load() == nil:
		return nil, changed, errors.New("nothing has been measured yet; ask again in a moment")
	case now.Before(builtAfter):
		return nil, changed, errors.New("the clock of this machine is not set; see that it reaches a time server")
	}
	f, c := d.feed, d.feed.site
	c.Daily = !f.access.Load().NotDaily
	tasks := d.judge.rabbitry.Agenda(now, now.AddDate(0, 0, ical.DaysAhead+1))
	text, moved, err := c.Write(now, tasks, &f.past)
	if err != nil {
		return nil, changed, err
	}
	if moved || f.owed {
		// A card that is full or gone is told elsewhere, and keeps nobody from the chores.
		f.owed = d.keepMeta(feedPast, f.past) != nil
	}
	return text, f.past.Changed, nil
}

func (d *daemon) keepMeta(key string, value any) error {
	text, err := json.Marshal(value)
	if err != nil {
		return err
	}
	return d.card.write(func() error { return d.archive.SetMeta(key, string(text)) })
}

// feedRequest is what a command wants of the calendar.
type feedRequest struct {
	Do    string `json:"do"` // address, new, off or file
	Daily *bool  `json:"daily,omitempty"`
}

// What can be wanted. An address is made where there is none.
const (
	feedAddress = "address"
	feedNew     = "new"
	feedOff     = "off"
	feedFile    = "file"
)

type feedAnswer struct {
	Secret string `json:"secret"` // empty when it is off
	Was    bool   `json:"was"`    // there was one before
	Daily  bool   `json:"daily"`
	Text   string `json:"text,omitempty"`
}

// feedCommand does what a command wants. It is stored before it counts.
func (d *daemon) feedCommand(ctx context.Context, asked feedRequest) (answer feedAnswer, err error) {
	if d.bookUnread {
		return answer, errBookUnread
	}
	err = d.command(ctx, func() error {
		access := *d.feed.access.Load()
		before := access
		answer.Was = before.Secret != ""
		if asked.Daily != nil {
			access.NotDaily = !*asked.Daily
		}
		switch {
		case asked.Do == feedOff:
			access.Secret = ""
		case asked.Do == feedNew, asked.Do == feedAddress && access.Secret == "":
			raw := make([]byte, feedSecret)
			rand.Read(raw) //nolint:errcheck // it never fails (crypto/rand)
			access.Secret = base64.RawURLEncoding.EncodeToString(raw)
		case asked.Do != feedAddress && asked.Do != feedFile:
			return fmt.Errorf("%q is nothing that can be done with the calendar; send one of address, new, off, file", asked.Do)
		}
		if access != before {
			if err := d.keepMeta(feedKey, access); err != nil {
				return fmt.Errorf("the calendar's address could not be stored, and stays as it was: %w", err)
			}
			d.feed.access.Store(&access)
		}
		answer.Secret, answer.Daily = access.Secret, !access.NotDaily
		if asked.Do == feedFile {
			text, _, err := d.writeCalendar(d.pace.Now())
			answer.Text = string(text)
			return err
		}
		return nil
	})
	return answer, err
}
