// Package metrics shows the newest State to Prometheus at /metrics.
//
// Every state is written down once, when it is published, through constant metrics and a registry of its own: nothing is
// remembered from one state to the next, so the series of a retired nest or a silent probe end by themselves, two scrapes cannot see
// halves of two states, and no scrape waits for a bus or for anything to be worked out. What would make a scrape fail (two buses of one
// name, say) is the error of Publish, and so stands where every sink's health stands. With each scrape come a few metrics of the
// program itself: memory, processor, open files, goroutines.
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
// Limits: a scrape cannot refill an outage, history is the archive's. A site with five sinks and two buses has at most 60
// series, those of the program itself among them, and 40 for each nest with a cluster and an air probe; each further probe adds 5, a
// sink 3, or 6 where it owes delivery, a bus 2, or 12 where its transactions are counted, each alarm beyond three that stand at once
// in a nest, each doubt about a probe and each sink that is set up wrongly or had polls pruned 1 (a budget of ours, tested).
//
// Who may read them is said by a file in the format of exporter-toolkit, see package webconfig.
//
// The default port lies outside 9100 to 9999, the range the Prometheus project hands out to exporters, so it collides with
// none of those; that nothing else uses it is a guess.
package metrics
