// Package phone brings alarms to people: which events become messages, in what words, at what hour, and how a message
// reaches a phone.
//
// The decisions are pure functions. [Told] says which events a person is told of, each with a named reason. [Compose] writes
// the words: nest, what, value in °F and °C, since when, limit, what to do. [Config.Hold] says when a message may go: during
// quiet hours all wait for their end but what cannot wait.
//
// A [Heartbeat] tells somebody outside that the daemon lives; whoever receives it calls a person when it stops.
//
// A [Webhook] is one way to a phone: an HTTP request to an address of the user's, with a text template as its body, which
// is what most push services and home servers take. Two formats are ready, both plain shapes of their own:
//
//	format: text    the words as text/plain, the title line in the header Title, the severity in Priority (1 to 5)
//	format: json    one JSON object with the keys below
//
// Everything can be set beside them: method, content_type, headers and body, the last two being Go templates
// (text/template) over the same keys: id, time, nest, event, severity, state, title, text, value, limit, unit, probe, since.
// value and limit are null where the event has none. The function json writes a value as JSON, with its quotes, and
// header makes a text safe for a header (RFC 2047 where it is not ASCII):
//
//	headers: {Title: "{{header .title}}"}
//	body: '{"message": {{json .title}}, "details": {{json .text}}}'
//
// Any 2xx answer counts as delivered; the address should therefore be https, so that no hotel or router can answer in its
// place. Redirects are not followed. 401, 403 and 404 mean that address or key are wrong here: the message stays and is
// tried again slowly. Of the other 4xx answers, 408, 425 and 429 ask for patience; the rest refuse the message for good.
// Every try carries the message's id as Idempotency-Key.
//
// A channel with a block mail sends mail instead: see [nestmon/exporter/phone/mail].
// A channel with a block push calls phones that signed up on the page instead: see [nestmon/exporter/phone/push].
//
// The address and every header may hold a key: both are secrets and appear in no error and no log.
package phone
