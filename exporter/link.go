package exporter

import "errors"

// Why a message's link does nothing: what Keeper.Asked and Keeper.Answer return or wrap, beside alarm.ErrOver and alarm.ErrWorse.
var (
	ErrLinkUnknown = errors.New("this link is not one of nestmon's; open the page and look at what stands there")
	ErrLinkTooOld  = errors.New("this link is too old; open the page and look at what stands there")
	ErrLinkSeen    = errors.New("somebody has acknowledged that already; open the page to see what stands")
	ErrLinkUsed    = errors.New("this link was used already; open the page to see what stands")
)
