// Package radio takes the readings of probes that speak by themselves: wireless nodes and gateways that publish on an MQTT broker.
//
// A probe is one topic. Its payload is a plain number, or JSON in which a JSON pointer (RFC 6901) finds each quantity; a SenML pack
// (RFC 8428) is an array, so its first value is at /0/v. A number in quotes counts as the number: many nodes write so. Words such as
// "unavailable", null and an empty message are a node's way to say that it has no value. What is not a number is malformed. Codes that
// look like a temperature, -127 or 85, are left to the screen, which knows them for every source.
//
// Nobody can ask such a probe, and nobody hears that its battery is flat. So a value is told once, by the first Read after its message
// came, and with the time at which it came; between two messages there is no reading, and a probe that is half an interval late is a
// fault at every Read until it speaks again. What a broker kept (a retained message, delivered on subscribing) may be of last week: it
// is no reading. The session is clean for the same reason: what a broker queues for a client that was away comes later with no flag
// that tells it from news (measured, mosquitto 2.0.11). The same holds for what lay in a socket while this process stood still.
//
// One thing cannot be seen from here: a gateway that repeats, on its own start or after an outage, what its nodes said before. Where a
// message says when it was measured, `time` points there (RFC 3339, or Unix time in seconds or milliseconds), and that decides instead: a
// retained message counts when it is young enough and newer than the last, the same or an older time is passed over, a time ahead of
// this board's clock is refused. Then both clocks must be set.
//
// The connection is a goroutine of its own that Read never waits for. Each connection is a new client of the library, so nothing is
// left over from the last; topics are subscribed to anew. A broker that refuses a topic says so in its answer (MQTT 3.1.1, 3.9.3:
// 0x80), which the library passes on as success; some, mosquitto with an acl_file among them, grant it and deliver nothing (measured,
// 2.0.11), so that the words for a silent probe name that, too. A packet of any announced size is cut to what a payload may be before
// the library sees it, because the library sets aside as many bytes as a packet announces, up to 256 MB.
//
// Between two Reads few messages wait of those that bring no value, and more of those that do: whoever fills a node's topic with nonsense pushes out nothing that
// the node says. Whoever sends numbers there is believed, as the node is: only the broker's access list keeps others away.
//
// Limits: MQTT 3.1.1. Messages of one connection keep their order; two nodes on one topic cannot be told apart.
package radio
