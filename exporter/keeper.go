package exporter

import (
	"context"

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
	// Book is the litter book as it stands.
	Book() *book.Book
}
