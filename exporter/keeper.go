package exporter

import (
	"context"
	"errors"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
)

// Keeper takes what a person does, from wherever: a command, the page, a broker, a link in a message. Each method returns when that is
// stored. An error is for that person, and says what to do instead.
type Keeper interface {
	// Act does something about alarms. The daemon fills in when.
	Act(ctx context.Context, a alarm.Act) error
	// Done marks a chore as done, by whom the book then says; nest is empty for the site's own.
	Done(ctx context.Context, nest string, chore alarm.Name, by string) error
	// Answer takes the token of a message's link and acknowledges what that message was about. It works once.
	Answer(ctx context.Context, token string) error
	// Asked tells what a token is about, without using it up.
	Asked(ctx context.Context, token string) (Message, error)
}

// Bookkeeper is the litter book, for whoever reads it or writes into it.
type Bookkeeper interface {
	// Enter writes entries into the litter book, all or none, and returns them as they were stored, with what is unusual in them. The daemon
	// finds the litter where only a nest is named. What cannot be true is a *book.Refusal.
	Enter(ctx context.Context, entries []book.Entry) (stored []book.Entry, doubts []string, err error)
	// EnterOnce is Enter for who may not hear the answer and sends it again. The entries are made of the book as it is then; what was sent under a
	// key before is answered as it was then, and changes nothing. ErrOtherSend is a key that was used for something else.
	EnterOnce(ctx context.Context, s Sending, of func(*book.Book) ([]book.Entry, error)) (stored []book.Entry, doubts []string, err error)
	// Book is the litter book as it stands, nil while it cannot be read.
	Book() *book.Book
}

// Sending names what somebody sends to the litter book from afar.
type Sending struct {
	Key    string // random, made when the person pressed the button
	Digest string // of what is sent
}

// Sent is what became of it.
type Sent struct {
	Sending
	Entries []int64  // their numbers
	Doubts  []string // what was unusual
}

// ErrOtherSend says that a key has come before with something else. Its text is for a person.
var ErrOtherSend = errors.New("something else was sent under this key before, and is stored; look at the book, and enter it anew")
