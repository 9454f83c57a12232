package mqtt

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"
)

// Store keeps a few small texts across restarts. A key never set reads as an empty text.
type Store interface {
	Meta(key string) (string, error)
	SetMeta(key, value string) error
}

// memory is the Store of a client that was given none.
type memory map[string]string

func (m memory) Meta(key string) (string, error) { return m[key], nil }
func (m memory) SetMeta(key, value string) error { m[key] = value; return nil }

// A record's texts are kept under these after the name of its tree.
const (
	topicsKey      = ".topics"
	descriptionKey = ".description"
)

// The names under which the two trees' records are kept.
const (
	homie5Record = "mqtt"
	homie4Record = "mqtt.homie4"
)

const (
	// keepCleared is how long a deleted topic stays on record and is deleted again on every connection: a broker that
	// comes back from an older save (mosquitto's autosave_interval is 30 min, mosquitto.conf(5)) holds it once more.
	// Ours, no source.
	keepCleared = 24 * time.Hour
)

// record knows every retained topic this installation has left on a broker, so that a nest that is gone, an alarm that
// ended while the daemon was down, or a device under its old name can be deleted. It is written before a topic is
// published for the first time: after a power cut it holds too much, never too little.
type record struct {
	store  Store
	name   string
	heir   string               // the record of a tree that is not published any more, until this one is saved
	topics map[string]time.Time // when it was deleted, zero while it is alive
	about  struct {
		Hash    string `json:"hash"`
		Version int64  `json:"version"`
	}
}

// openRecord reads a tree's record. It takes over that of a tree that is not published any more, so that what that one left behind is
// deleted; given is empty where there is none.
func openRecord(store Store, name, given string) (*record, error) {
	r := &record{store: store, name: name, topics: map[string]time.Time{}}
	left := map[string]time.Time{}
	keys := map[string]any{name + topicsKey: &r.topics, name + descriptionKey: &r.about}
	if given != "" {
		keys[given+topicsKey] = &left
	}
	for key, into := range keys {
		stored, err := store.Meta(key)
		if err != nil {
			return nil, fmt.Errorf("reading %s: %w", key, err)
		}
		if stored == "" {
			continue
		}
		if err := json.Unmarshal([]byte(stored), into); err != nil {
			return nil, fmt.Errorf("reading %s: %w", key, err)
		}
	}
	if len(left) > 0 {
		maps.Copy(r.topics, left)
		r.heir = given
	}
	return r, nil
}

// leave forgets topics that begin so: another record has them, since its tree is published again.
func (r *record) leave(begin string) {
	maps.DeleteFunc(r.topics, func(topic string, _ time.Time) bool { return strings.HasPrefix(topic, begin) })
}

// alive notes topics that are about to be published.
func (r *record) alive(messages []Message) error {
	changed := false
	for _, m := range messages {
		if at, known := r.topics[m.Topic]; !known || !at.IsZero() {
			r.topics[m.Topic], changed = time.Time{}, true
		}
	}
	if !changed {
		return nil
	}
	return r.save()
}

// cleared notes topics that were deleted, and forgets those deleted long ago.
func (r *record) cleared(topics []string, now time.Time) error {
	changed := false
	for _, topic := range topics {
		if at, known := r.topics[topic]; known && at.IsZero() {
			r.topics[topic], changed = now.UTC(), true
		}
	}
	maps.DeleteFunc(r.topics, func(_ string, at time.Time) bool {
		old := !at.IsZero() && now.Sub(at) > keepCleared
		changed = changed || old
		return old
	})
	if !changed {
		return nil
	}
	return r.save()
}

// gone lists the topics on record that are not among those wanted. $state comes first: Homie removes a device by it.
func (r *record) gone(wanted map[string]bool) []string {
	var out []string
	for topic := range r.topics {
		if !wanted[topic] {
			out = append(out, topic)
		}
	}
	slices.SortFunc(out, func(a, b string) int {
		if sa, sb := strings.HasSuffix(a, "/$state"), strings.HasSuffix(b, "/$state"); sa != sb {
			if sa {
				return -1
			}
			return 1
		}
		return strings.Compare(a, b)
	})
	return out
}

func (r *record) save() error {
	b, err := json.Marshal(r.topics)
	if err != nil {
		return fmt.Errorf("writing %s: %w", r.name+topicsKey, err)
	}
	if err := r.store.SetMeta(r.name+topicsKey, string(b)); err != nil || r.heir == "" {
		return err
	}
	given := r.heir
	r.heir = ""
	return r.store.SetMeta(given+topicsKey, "")
}

// version is the description's: unchanged while its content is, higher when it changes. It follows the clock in seconds
// where that is higher, so that it rises even after the store was lost.
func (r *record) version(d Description, now time.Time) (int64, error) {
	hash := d.Hash()
	if hash == r.about.Hash {
		return r.about.Version, nil
	}
	r.about.Hash, r.about.Version = hash, max(r.about.Version+1, now.Unix())
	b, err := json.Marshal(r.about)
	if err != nil {
		return r.about.Version, fmt.Errorf("writing %s: %w", r.name+descriptionKey, err)
	}
	return r.about.Version, r.store.SetMeta(r.name+descriptionKey, string(b))
}
