// Package mqtt shows the newest state on an MQTT broker as a Homie 5 tree (homieiot.github.io, version 5.0.0).
//
// One root device stands for the daemon, one node for each nest, one for the air outside:
//
//	homie/5/<device>/$state                     init ready disconnected lost
//	homie/5/<device>/$description               what there is, as JSON
//	homie/5/<device>/<nest>/air-temperature     in °C; cluster-temperature, air-humidity in %, carbon-dioxide in ppm …
//	homie/5/<device>/<nest>/alarm               none notice warning urgent
//	homie/5/<device>/<nest>/not-judged          the dangers nobody watches there now, and why
//	homie/5/<device>/<nest>/reading-time        when the newest of those values was measured
//	homie/5/<device>/<nest>/alarm-status        each alarm that is not normal and where it stands: acknowledged, shelved, over and not seen …
//	homie/5/<device>/<nest>/chores-due          what is to be done there; acknowledged-alarms, what somebody has seen
//	homie/5/<device>/site/instance              which installation publishes this
//	homie/5/<device>/$alert/<nest>-<event>      one text for every alarm whose condition lasts, whoever is called for it; its status, its
//	                                            rule and its source on lines of their own. Chores are not among them
//
// Every topic is retained and holds the newest value alone: history is the archive's matter. A value too old to act on is
// deleted, because an old number that looks fresh is worse than a gap. There is one unit on the wire, °C; °F is a matter of
// display.
//
// Three things are off until they are wanted:
//
//   - the same values by Homie 4.0.0 below homie/<device>, a topic for each attribute (homie4.go). A will covers one $state and a connection
//     has one will, so this tree has a client and a connection of its own. Its $state is alert while a probe that is fitted gives no data;
//   - <nest>/acknowledge/set and five more (settable.go, commands.go). What is set there goes the way that the commands of the program go, is
//     stored, and is then said once. It needs a broker that knows who is who;
//   - each poll as one SenML message (senml.go).
//
// The trees (tree.go, description.go) are pure functions of the state. The client (client.go, link.go) brings one to the
// broker and distrusts the client library where that was seen to fail: nothing is handed over while the connection is
// down, so nothing stale is sent when it comes back; on every connection the whole tree is published anew from the newest
// state; every wait has an end; and the daemon reads its own $state back, because a broker whose access list refuses a
// message acknowledges it all the same. Before it speaks it makes sure that no other daemon publishes as the same device (rivals.go).
//
// Limits: MQTT 3.1.1 only, so the broker cannot expire a value; reading-time says how old it is. What is set while there is no connection
// is lost. SenML is of the newest poll: after an outage the ones before are in the archive alone. Homie 4 has no $alert: its alarms are the
// properties alarm and alarm-status.
package mqtt
