package exporter

import "errors"

// What a message's link can be besides good. An error of Keeper.Asked and Keeper.Answer wraps one of them; its own words are for the person.
var (
	ErrLinkUnknown = errors.New("this link is not known")
	ErrLinkUsed    = errors.New("this link was used already")
	ErrLinkOver    = errors.New("this link is too old, or what it was about is over")
	ErrLinkWorse   = errors.New("it has grown worse since this message")
)
