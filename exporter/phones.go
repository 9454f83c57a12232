package exporter

import (
	"context"
	"time"
)

// Subscription is what a browser gives to whoever may push messages to it. Endpoint and Auth are secrets: who has them can call the phone.
type Subscription struct {
	Endpoint Secret
	P256dh   string // the browser's public key, base64url
	Auth     Secret // base64url
	Label    string // what a person calls this phone
	Agent    string // the browser, in a few words
	Replaces string // the ID of an earlier one of the same browser, empty where there was none
}

// Phone is one that has signed up, as anybody may see it.
type Phone struct {
	ID     string // worked out from the endpoint, from which it cannot be worked back
	Label  string
	Agent  string
	Since  time.Time
	LastOK time.Time // when its push service last took a message, zero for never
	Gone   time.Time // since when its push service knows it no more: it must sign up again. Zero while it is signed up
}

// Phones is a channel on which phones sign up by themselves. Each error is for a person and says what to do; none holds a secret.
type Phones interface {
	// PublicKey is what a browser must be given to subscribe, base64url.
	PublicKey() (string, error)
	List() ([]Phone, error)
	// Subscribe returns when the subscription is stored. The same endpoint again takes the place of the one before.
	Subscribe(s Subscription) error
	// Unsubscribe takes a phone off, by its endpoint or by its ID. One that is not there is no error.
	Unsubscribe(which Secret) error
	// Test sends a message of Kind Trial to one phone, by its endpoint or by its ID, and waits until the push service has it.
	Test(ctx context.Context, which Secret) error
}
