package exporter

import (
	"context"

	"nestmon/thresholds/alarm"
)

// Keeper takes what a person does, from wherever: a command, the page, a broker, a link in a message. Each method returns when that is
// stored. An error is for that person, and says what to do instead.
type Keeper interface {
	// Act does something about alarms. The daemon fills in when.
	Act(ctx context.Context, a alarm.Act) error
	// Done marks a chore as done; nest is empty for the site's own.
	Done(ctx context.Context, nest string, chore alarm.Name) error
	// Answer takes the token of a message's link and acknowledges what that message was about. It works once.
	Answer(ctx context.Context, token string) error
	// Asked tells what a token is about, without using it up.
	Asked(ctx context.Context, token string) (Message, error)
}
