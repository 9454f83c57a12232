package archive

import (
	"database/sql"
	"encoding/json"
	"slices"
	"time"

	"nestmon/exporter"
)

const (
	// maxWaiting bounds the messages that wait for any channel: at 20 alarms a day, far more than a quiet rabbitry has, seven
	// weeks without a phone; ours, no source.
	maxWaiting = 1000
	// keptMessages is how many delivered messages are remembered, so that one committed twice is sent once; ours, no source.
	keptMessages = 1000
	// longestHold is the longest a message is held back. Quiet hours and digests are parts of a day; one that seems to be due
	// later was stamped before the clock jumped, and goes out at once.
	longestHold = 24 * time.Hour

	channelsKey = "archive.channels"
)

func (a *Archive) loadChannels() error {
	text, err := a.Meta(channelsKey)
	if err != nil || text == "" {
		return err
	}
	return json.Unmarshal([]byte(text), &a.channels)
}

// SetChannels names the channels every message must reach, before the first Commit of a start. What waits for a channel that
// is no longer named is dropped; a new channel gets what comes from now on.
//
// The same names as before write nothing, and others count though they cannot be written: a board that restarts on a full card must watch all the same.
func (a *Archive) SetChannels(names []string) error {
	a.mu.Lock()
	same := slices.Equal(names, a.channels)
	a.mu.Unlock()
	if same {
		return nil
	}
	err := a.editBook(func(t *tx) error { return t.putChannels(names) })
	if err != nil && !refusing(err) {
		return err
	}
	if err != nil {
		a.opts.Log.Warn("the channels' names are not stored; the next start does it", "err", err)
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	a.channels = slices.Clone(names)
	return nil
}

func (t *tx) putChannels(names []string) error {
	text, err := json.Marshal(names)
	if err != nil {
		return err
	}
	if err := t.setMeta(channelsKey, string(text)); err != nil {
		return err
	}
	return t.exec("DELETE FROM waiting WHERE channel NOT IN (SELECT value FROM json_each(?))", string(text))
}

// putMessages queues messages for every channel and returns how many had to make room.
func (t *tx) putMessages(all []exporter.Message, channels []string) (dropped int64, err error) {
	if len(all) == 0 || len(channels) == 0 {
		return 0, nil
	}
	for _, m := range all {
		body, err := json.Marshal(m)
		if err != nil {
			return 0, err
		}
		var after int64
		if !m.After.IsZero() {
			after = m.After.UnixMilli()
		}
		n, err := t.changed("INSERT OR IGNORE INTO messages (id, after, severity, body) VALUES (?, ?, ?, ?)", m.ID, after, int(m.Event.Severity), string(body))
		if err != nil {
			return 0, err
		}
		if n == 0 { // committed before
			continue
		}
		for _, c := range channels {
			if len(m.To) > 0 && !slices.Contains(m.To, c) {
				continue
			}
			if m.Kind.Replaces() {
				if err := t.drop(m.Kind, c); err != nil {
					return 0, err
				}
			}
			if err := t.exec("INSERT INTO waiting (channel, seq) VALUES (?, (SELECT seq FROM messages WHERE id = ?))", c, m.ID); err != nil {
				return 0, err
			}
		}
	}
	const unsent = "SELECT DISTINCT seq FROM waiting"
	dropped, err = t.changed(`DELETE FROM messages WHERE seq IN (
		SELECT seq FROM messages WHERE seq IN (`+unsent+`)
		ORDER BY severity, seq LIMIT max(0, (SELECT count(*) FROM (`+unsent+`)) - ?))`, maxWaiting)
	if err != nil {
		return 0, err
	}
	if err := t.exec("DELETE FROM waiting WHERE seq NOT IN (SELECT seq FROM messages)"); err != nil {
		return 0, err
	}
	return dropped, t.exec("DELETE FROM messages WHERE seq <= (SELECT max(seq) FROM messages) - ? AND seq NOT IN ("+unsent+")", keptMessages)
}

// drop forgets what waits of a kind for a channel.
func (t *tx) drop(k exporter.Kind, channel string) error {
	return t.exec("DELETE FROM waiting WHERE channel = ? AND seq IN (SELECT seq FROM messages WHERE json_extract(body, '$.Kind') = ?)", channel, string(k))
}

// Pending returns at most that many messages a channel still owes that may be sent now, oldest first.
func (a *Archive) Pending(channel string, now time.Time, most int) ([]exporter.Message, error) {
	var out []exporter.Message
	err := a.book.read(func(db *sql.DB) error {
		return bodies(db, func(m exporter.Message) { out = append(out, m) },
			`SELECT body FROM waiting JOIN messages USING (seq)
			WHERE channel = ? AND (after <= ? OR after > ?) ORDER BY seq LIMIT ?`,
			channel, now.UnixMilli(), now.Add(longestHold).UnixMilli(), most)
	})
	return out, err
}

// Message finds a message by its id; ok is false when it is no longer remembered.
func (a *Archive) Message(id string) (m exporter.Message, ok bool, err error) {
	err = a.book.read(func(db *sql.DB) error {
		return bodies(db, func(found exporter.Message) { m, ok = found, true }, "SELECT body FROM messages WHERE id = ?", id)
	})
	return m, ok, err
}

// Waiting returns how many messages a channel owes, held back ones too, and when the oldest was made.
func (a *Archive) Waiting(channel string) (n int64, oldest time.Time, err error) {
	err = a.book.read(func(db *sql.DB) error {
		if err := db.QueryRow("SELECT count(*) FROM waiting WHERE channel = ?", channel).Scan(&n); err != nil {
			return err
		}
		return bodies(db, func(m exporter.Message) { oldest = m.Time },
			"SELECT body FROM waiting JOIN messages USING (seq) WHERE channel = ? ORDER BY seq LIMIT 1", channel)
	})
	return n, oldest, err
}

// Sent says that a channel has delivered a message.
func (a *Archive) Sent(channel, id string, _ time.Time) error {
	return a.editBook(func(t *tx) error { return t.settle(channel, id) })
}

// Refused says that a channel will never take a message; it is kept with the reason, and does not wait any more.
func (a *Archive) Refused(channel, id, reason string) error {
	return a.editBook(func(t *tx) error {
		if err := t.exec("INSERT INTO refused (channel, id, at, reason) VALUES (?, ?, ?, ?)", channel, id, a.opts.Now().UnixMilli(), reason); err != nil {
			return err
		}
		if err := t.exec("DELETE FROM refused WHERE seq <= (SELECT max(seq) FROM refused) - ?", maxRefusals); err != nil {
			return err
		}
		return t.settle(channel, id)
	})
}

// settle ends the wait; a message that was dropped meanwhile is no error.
func (t *tx) settle(channel, id string) error {
	return t.exec("DELETE FROM waiting WHERE channel = ? AND seq = (SELECT seq FROM messages WHERE id = ?)", channel, id)
}
