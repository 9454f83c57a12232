// Package metrics shows the newest State to Prometheus at /metrics.
//
// Every scrape is answered from one State, whole, through constant metrics made on the spot: nothing is remembered between
// scrapes, so the series of a retired nest or a silent probe end by themselves, two scrapes cannot see halves of two states,
// and no scrape ever waits for a bus.
//
// Names follow the Prometheus guides: temperatures in celsius, relative humidity as a ratio from 0 to 1, moments as
// timestamps and never as ages, counters ending in _total. A value that is not fresh is left out, because an old number that
// looks new is worse than a gap; nestmon_probe_up and the time of the last good reading stay. Counters by reason and alarms by
// event exist from the start with 0, so that rate() and an alert see the first one. For what belongs to no nest the label
// nest is empty.
//
// When the State itself has grown old because the daemon stopped making new ones, values, the core estimate and everything
// that says "judged" go as well; alarms stay as they stood. nestmon_snapshot_timestamp_seconds tells when that was.
//
// Limits: a scrape cannot refill an outage, history is the archive's. A site with five sinks and three buses has at most 60
// series, and 40 for each nest with a cluster and an air probe; each further probe adds 5, a bus whose transactions are counted
// 10, each alarm beyond four that stand at once and each doubt about a probe and each sink that is set up wrongly 1 (a budget of ours, tested).
//
// The default port lies outside 9100 to 9999, the range the Prometheus project hands out to exporters, so it collides with
// none of those; that nothing else uses it is a guess.
package metrics
