package exporter

import (
	"context"
	"errors"
	"slices"
	"time"

	"nestmon/sensors"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
)

// State is what state sinks (metrics, MQTT, page) show: the newest of everything, whole. It is never changed after it was made.
type State struct {
	Snapshot thresholds.Snapshot
	Probes   []sensors.Health
	Buses    []sensors.BusHealth
	Sinks    []SinkHealth
	Started  time.Time
	Every    time.Duration // between two states; 0 where nobody says
	Disk     Disk
	Synced   bool              // the board's clock can be trusted
	Version  string            // of the program
	Agenda   []thresholds.Task // as it was last worked out, by state and time; empty where nobody did
}

// Disk is the room for the archive, in bytes; all 0 while it is not known.
type Disk struct{ Bytes, Free, Archive uint64 }

// SinkHealth is what is known of one sink.
type SinkHealth struct {
	Name   string
	OK     bool
	Since  time.Time // when OK last changed
	LastOK time.Time
	Error  string // the newest failure, without secrets, empty while OK
	// Misconfigured means that waiting does not help: a person must put something right. Tries go on all the same.
	Misconfigured bool
	Sent          uint64
	Failed        uint64
	Refused       uint64 // of Failed: readings or messages that were refused for good
	RefusedAt     time.Time
	RefusedWhy    string    // the newest reason
	Calls         bool      // it is a way to a person
	Owes          bool      // this sink owes delivery
	Pending       int64     // what waits to be sent, for sinks that owe delivery
	OldestAt      time.Time // the oldest thing that waits
	Pruned        uint64    // polls that the archive removed for age before the sink had them
	PrunedAt      time.Time
	Backfill      *Backfill // what is sent once more or was last, nil for nothing
}

// Mute reports whether there are ways to a person, none of which works.
func Mute(all []SinkHealth) bool {
	ways := false
	for _, h := range all {
		if ways = ways || h.Calls; h.Calls && h.OK {
			return false
		}
	}
	return ways
}

// Publisher is a sink of state: what it shows is replaced whole, and nothing is owed for what was missed.
//
// Publish is called by one goroutine with the newest State; older ones are overwritten while it is busy, never queued. It
// must respect ctx. A failed Publish is tried again with a later State after a back-off. Close says goodbye (a clean MQTT stop, say) and is bounded by ctx.
type Publisher interface {
	Name() string
	Publish(ctx context.Context, s *State) error
	Close(ctx context.Context) error
}

// StoredPoll is one poll as the archive gives it back.
type StoredPoll struct {
	Key      int64 // rises with every poll, never used twice
	Time     time.Time
	Readings []sensors.Reading // usable values only
}

// ReadingSink is a sink that is owed every reading, in order and at least once.
//
// Deliver sends the polls and returns nil only when the other side has said that it keeps them. An error marked by
// Permanent means another try cannot help: the polls are set aside with the reason. Any other error is tried again.
type ReadingSink interface {
	Name() string
	Deliver(ctx context.Context, polls []StoredPoll) error
}

// Message is one call of a person. It is stored before it is sent.
type Message struct {
	ID    string // the same at every try, so that a repetition can be recognised
	Time  time.Time
	After time.Time // not to be sent before
	Kind  Kind      // empty counts as Alarm
	Title string    // one line, at most 180 characters
	Body  string
	Event alarm.Event   // the worst it is about; the zero Event where it is about none
	About []alarm.Event `json:",omitempty"` // all it is about, also what is over, where that is more than Event
	To    []string      `json:",omitempty"` // the channels it goes to, all of them where it is empty
	Link  string        `json:",omitempty"` // where it is answered; a secret, and empty where nothing is to be answered or the page has no address
}

// Carried reports whether a channel that carries what is at least so severe carries the message. What is about no alarm reaches everybody
// it is addressed to.
func (m Message) Carried(least alarm.Severity) bool {
	worse := func(e alarm.Event) bool { return e.Severity >= least }
	return m.Kind == AllWell || m.Kind == Trial || worse(m.Event) || slices.ContainsFunc(m.About, worse)
}

// Replaces reports whether a message makes earlier ones of its kind that still wait for the same channel worthless.
func (k Kind) Replaces() bool { return k == Repeat || k == AllWell }

// Kind says what a message is for.
type Kind string

// The kinds of messages.
const (
	Alarm   Kind = "alarm"    // it began, grew worse, is over, or happened
	Repeat  Kind = "repeat"   // still urgent, and nobody has acknowledged it
	Storm   Kind = "storm"    // many at once, in one message
	Digest  Kind = "digest"   // what could wait
	AllWell Kind = "all-well" // how things stand, once a day
	Trial   Kind = "test"     // a person wants to know whether it arrives
)

// MessageSink is one way to a person, with the same contract as ReadingSink. Send may be called by several goroutines at once: for
// messages from the archive, for those that could not be stored, and for trials.
//
// A sink may also have a method Complaint() error: what a person should put right although no message waits, nil for nothing. It is asked often
// and must return at once. While it complains the sink is not well.
type MessageSink interface {
	Name() string
	Send(ctx context.Context, m Message) error
}

type permanent struct{ err error }

func (p permanent) Error() string { return p.err.Error() }
func (p permanent) Unwrap() error { return p.err }

// Permanent marks an error that another try cannot cure.
func Permanent(err error) error { return permanent{err} }

// IsPermanent reports whether err was marked by Permanent.
func IsPermanent(err error) bool { return errors.As(err, new(permanent)) }

type taken struct{ error }

func (t taken) Unwrap() error { return t.error }

// Taken marks the complaint of a Publish that showed the state all the same, such as a certificate that has ended: it is reported as a
// failure, and the next state does not wait for it. Nil stays nil.
func Taken(err error) error {
	if err == nil {
		return nil
	}
	return taken{err}
}

// IsMisconfigured reports whether err stands until a person puts something right, such as a wrong password or a bucket that does not
// exist: it, or one it wraps, has a method Misconfigured that returns true. It is tried again for ever all the same.
func IsMisconfigured(err error) bool {
	var wrong interface{ Misconfigured() bool }
	return errors.As(err, &wrong) && wrong.Misconfigured()
}

// Commit is everything one poll produced. It is stored before anything of it is published.
type Commit struct {
	Time            time.Time
	Synced          bool              // the board's clock could be trusted
	Boot            string            // names the time since the board was switched on, empty where nobody knows
	Up              time.Duration     // how long that was ago
	Readings        []sensors.Reading // screened; faults are not stored, their absence is
	Events          []alarm.Event
	Standing        []alarm.Standing // all that is on after this poll; looked at only when StandingChanged
	StandingChanged bool
	Messages        []Message
	Calls           []byte // what the calls remember, nil where that need not be stored
	Answered        bool   // nothing urgent is left that nobody has acknowledged: what still waits to say so is dropped
	Acts            []alarm.Act
}
