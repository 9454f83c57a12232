package metrics

import "github.com/prometheus/client_golang/prometheus"

// family is one metric: its name, help and label names, worked out once.
type family struct {
	desc       *prometheus.Desc
	kind       prometheus.ValueType
	name, help string
}

func gauge(name, help string, labels ...string) family {
	return made(prometheus.GaugeValue, "nestmon_"+name, help, labels)
}

func counter(name, help string, labels ...string) family {
	return made(prometheus.CounterValue, "nestmon_"+name, help, labels)
}

func made(kind prometheus.ValueType, name, help string, labels []string) family {
	return family{prometheus.NewDesc(name, help, labels, nil), kind, name, help}
}

// Of the site.
var (
	buildInfo         = gauge("build_info", "The program that runs; always 1.", "version", "goversion")
	started           = gauge("start_timestamp_seconds", "When the daemon started.")
	snapshotTime      = gauge("snapshot_timestamp_seconds", "When the state shown here was made; it should never be older than a few polls.")
	clockSynchronized = gauge("clock_synchronized", "1 while the board's clock can be trusted.")
	diskFree          = gauge("disk_free_bytes", "What the archive can still take where it lies.")
	archiveSize       = gauge("archive_bytes", "Size of the archive's files.")
	seasonInfo        = gauge("season_info", "The season the nests are judged by; always 1.", "season")
)

// Of sinks and buses.
var (
	sinkUp      = gauge("sink_up", "1 while what goes to this sink arrives.", "sink")
	sinkWrong   = gauge("sink_misconfigured", "1 while this sink waits for a person to put its settings right, absent otherwise.", "sink")
	phoneMute   = gauge("phone_unreachable", "1 while no way to a phone works, so that nobody can be called; absent otherwise.")
	sinkSent    = counter("sink_sent_total", "States, readings or messages this sink took.", "sink")
	sinkFailed  = counter("sink_failed_total", "Tries this sink failed, and things it refused for good.", "sink")
	sinkRefused = counter("sink_refused_total", "Readings or messages this sink refused for good, where it owes delivery.", "sink")
	sinkPruned  = counter("sink_pruned_total", "Polls the archive removed for age before this sink had them; absent while there are none.", "sink")
	spoolPoints = gauge("spool_points", "Readings or messages that wait to be sent; absent for sinks that only show a state.", "sink")
	spoolOldest = gauge("spool_oldest_timestamp_seconds", "Time of the oldest thing that waits, only while something does.", "sink")
	busUp       = gauge("bus_up", "1 while the last poll of this bus came back in time and one of its probes answered.", "bus")
	busRestarts = counter("bus_restarts_total", "Restarts of this bus's worker after a fault in the program.", "bus")
	busTried    = counter("bus_transactions_total", "Transactions on this bus, where its source counts them.", "bus")
	busBusy     = counter("bus_busy_seconds_total", "Time spent in them.", "bus")
	busErrors   = counter("bus_errors_total", "Transactions that failed, by what failed.", "bus", "kind")
)

// Of probes. The label nest is empty for a probe outside.
var (
	probeUp       = gauge("probe_up", "1 while every value of this probe is young enough to act on.", "nest", "role", "probe")
	probeLastGood = gauge("probe_last_success_timestamp_seconds", "When this probe last gave a usable value.", "nest", "role", "probe")
	probeReads    = counter("probe_reads_total", "Readings asked of this probe.", "nest", "role", "probe")
	probeFailed   = counter("probe_failed_reads_total", "Readings of this probe without a usable value.", "nest", "role", "probe")
	probeDoubted  = gauge("probe_doubted", "1 while something speaks against this probe: silent, fault, odd, swapped, scale, drifting, wet or failing.", "nest", "role", "probe", "reason")
	readErrors    = counter("probe_read_errors_total", "Readings of all probes without a usable value, by reason.", "reason")
	temperature   = gauge("probe_temperature_celsius", "Temperature, while fresh.", "nest", "role", "probe")
	humidity      = gauge("probe_humidity_ratio", "Relative humidity over water from 0 to 1, while fresh.", "nest", "role", "probe")
	carbonDioxide = gauge("probe_carbon_dioxide_ratio", "Carbon dioxide as a share of the air by volume (0.001 is 1000 ppm), while fresh.", "nest", "role", "probe")
	voltage       = gauge("probe_voltage_volts", "Voltage of the battery, while fresh.", "nest", "role", "probe")
	current       = gauge("probe_current_amperes", "Current into or out of the battery, as its shunt is wired, while fresh.", "nest", "role", "probe")
	outsideTHI    = gauge("outside_rabbit_thi_celsius", "Rabbit temperature-humidity index of the shade air, while it can be computed.")
)

// Of alarms. The label nest is empty for what belongs to no nest.
var (
	alarmSeverity = gauge("alarm_severity", "How soon a person is needed: 0 not at all, 1 notice, 2 warning, 3 urgent.", "nest", "event")
	alarmRaised   = gauge("alarm_raised_timestamp_seconds", "When this alarm was raised, only while it stands.", "nest", "event")
	alarmsUnacked = gauge("alarms_unacknowledged", "Alarms that stand and call: nobody has acknowledged them or set them aside.", "nest")
	alarmsQuieted = gauge("alarms_quieted", "Alarms that call nobody, by why: shelved, out-of-service, suppressed-by-design (another stands for it) or returned-unacknowledged (over and not seen); absent while there are none. A whole nest counts once.", "nest", "status")
	choresDue     = gauge("chores_due", "Chores that are due.", "nest")
)

// Of nests.
var (
	nestInfo     = gauge("nest_info", "What this nest is and where it is in the litter clock; always 1.", "nest", "kind", "stage")
	dangerJudged = gauge("danger_judged", "1 while this danger is judged. At 0 nobody would be told of heat, chill or cold; damp (wet bedding) is at 0 whenever humidity cannot tell, as in cold air.", "nest", "danger")
	kindled      = gauge("litter_kindled_timestamp_seconds", "When the litter in this nest was born.", "nest")
	clusterCore  = gauge("cluster_core_celsius", "Estimate of the warmth inside the huddle of kits.", "nest")
	nestLimit    = gauge("limit_celsius", "Limits in force now; without a series a limit is not in force.", "nest", "limit")
)
