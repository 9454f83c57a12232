// Package phone brings alarms to people: in what words, and how a message reaches a phone.
//
// Who is called, when, and when again is decided in package calls; [Config.Plan] is what the configuration says about it: the contacts in
// the order in which they are called, repeats, quiet hours, digest, all-well. A contact has channels, and [Config.ChannelsOf] says which
// ones a call goes to. Without contacts everybody is called at once.
//
// A [Writer] makes the message of a call. Its title holds nest, what, value and limit in °F and °C and since when, in 180 characters; its
// body begins with what to do and ends with the link by which one tap says that somebody is on it:
//
//	began, grew worse, is over, happened    one alarm
//	repeat      what is urgent and not acknowledged, with the number of the call
//	storm       many at once: how many, how many of them urgent, the worst, which came first, what is over
//	digest      what could wait, once a day
//	all-well    what is on, what nobody is called for, what is not judged; 'All well' only where that is nothing
//
// A [Heartbeat] tells somebody outside that the daemon lives; whoever receives it calls a person when it stops.
//
// A [Webhook] is one way to a phone: an HTTP request to an address of the user's, with a text template as its body, which
// is what most push services and home servers take. Two formats are ready, both plain shapes of their own:
//
//	format: text    the words as text/plain, the title line in the header Title, the severity in Priority (3 to 5; 3 for what is over)
//	format: json    one JSON object with the keys below
//
// Everything can be set beside them: method, content_type, headers and body, the last two being Go templates
// (text/template) over the same keys: id, time, nest, event, severity, state, title, text, value, limit, unit, probe, since, rule, source,
// kind (alarm, repeat, storm, digest, all-well, test), link, alarms (how many the message is about). nest to since are the worst alarm's.
// value and limit are null where the event has none, and link is empty where nothing is to be answered or the page has no address.
// The function priority makes 1 to 5 of a severity, json writes a value as JSON, with its quotes, and header makes a text safe for a
// header (RFC 2047 where it is not ASCII):
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
