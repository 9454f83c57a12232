// Package exporter carries what the domain decided to everything that shows, keeps or sends it.
//
// There are three kinds of sink, by what is owed to them:
//
//   - A [Publisher] shows a state: metrics, the MQTT tree, the page. Only the newest [State] matters. [Fanout] gives each one
//     a goroutine and a mailbox that holds one State, so a slow or hung sink delays neither a poll nor another sink.
//   - A [ReadingSink] is owed every reading: InfluxDB. A [Pump] reads the polls back from the archive behind a persisted
//     cursor and moves the cursor only when the other side has said that it keeps them.
//   - A [MessageSink] is owed every message: the phone. Each channel has a Pump of its own that reads nothing but messages,
//     so a week of unsent readings never delays an alarm.
//
// A Pump of readings can also be told to send a past range once more: [Pump.Resend]. What is new always goes first, the range is stored, and
// a restart goes on with it.
//
// Trying again, waiting, counting and the log are written once, here. A sink says only whether another try can help: nil,
// refused for good ([Permanent], or [PartlyRefused] where the rest was kept), anything else is tried again.
//
// # Waits
//
// After a failure the next try waits 1 s, then twice as long each time, with jitter, at most 5 min for readings and 1 min
// for messages and states (an alarm should leave soon after the network is back). The 1 s and 5 min are what careful clients
// of time-series servers use; common practice, no source. An error with a RetryAfter is believed, up to an hour. All are ours
// to change in [Options].
//
// # Faults of our own
//
// A panic in a sink is recovered at the edge of its goroutine, logged with its stack, counted as a failure, and the sink is
// tried again after a back-off. The third within ten minutes is reported to Options.Fatal: the process should end with a
// non-zero code, so that the supervisor starts it afresh.
//
// [Pump.Stuck] tells of a pump that hangs. Whoever vouches for the program, to a service manager or to somebody outside, asks it first.
//
// # Limits
//
// A sink that ignores its context cannot be stopped, only left behind: it is reported as hung, and Stop returns when its own
// context ends. A server that dies and comes back between two deliveries is not noticed; what it acknowledged and lost in
// those seconds stays lost there, and stays in the archive.
package exporter
