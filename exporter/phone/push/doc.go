// Package push calls phones through the browsers on them, by Web Push (RFC 8030), with every message encrypted for that phone alone
// (RFC 8291) and signed with a key pair of this nestmon's own (RFC 8292). It needs no account anywhere: whoever opens the page on a phone
// signs that phone up, and the push service of the browser's maker carries the messages.
//
// Two things it cannot do. Browsers let a page sign up only where it is served over https with a certificate they trust; on localhost too,
// which is no phone. And a push service may forget a phone on any day, without a word until the next message. So it is never to be the only
// channel: what is wrong with it is told by the others.
//
// # What is kept
//
// The key pair is made at the first start and kept in the archive, with the phones: one JSON value in meta. A phone's endpoint and its keys are
// secrets; they appear in no error, no log and no page. A phone is spoken of by the label a person gave it, and by an id worked out from
// its endpoint. With another key pair all phones must sign up again, which their page sees by itself.
//
// # What is delivered
//
// A [Channel] calls all its phones at once, each with its own deadline. A message is delivered when every phone either has it or is gone, and
// one has it. Until then it is tried again for those alone that do not have it, also after a restart. What a push service answers means:
//
//	2xx                   it has the message
//	404, 410              the phone is no longer subscribed: it is taken off, and told of until it signs up again (Complaint)
//	400, 401, 403         it does not let this nestmon in: set up wrongly, tried again every 5 min
//	413                   too long: at once tried again with a shorter text, 3,070, 2,048 and 1,024 bytes in all
//	408, 425, 429, 5xx    tried again, after Retry-After where it is given
//	anything else         an answer nobody expects: set up wrongly, tried again every 5 min. Nothing is ever dropped
//
// Without any phone nothing is delivered, and the channel says that it is set up wrongly.
//
// # On the phone
//
// A message about the same nest and event takes the place of an earlier one, at the push service (Topic) and on the screen (tag). It is kept for
// a phone that is off for 12 h where it is urgent, else for 24 h. The page's service worker shows every message, whatever it holds.
//
// # The library
//
// webpush-go encrypts and signs. Where it falls short of the above it is worked round here: its own client follows redirects and has no
// deadline; it puts mailto: before a contact that has it already; it fills every request up to 4,096 bytes, which one push service does not take;
// it makes a token for every request, while one push service wants none newer than an hour; and its errors hold the endpoint. Its option
// VapidExpiration has no effect in v1.4.0: a token is good for 12 h, which is what is wanted here.
package push
