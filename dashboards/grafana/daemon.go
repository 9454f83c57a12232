package grafana

import "fmt"

// prometheus are the dashboards on a Prometheus that scrapes nestmon.
func (m *maker) prometheus() []board {
	return []board{m.rabbitry(), m.nest(), m.probes(), m.daemon()}
}

// daemon is the dashboard of the program itself.
func (m *maker) daemon() board {
	bySink := func(how, metric string) string { return fmt.Sprintf("%s by (site, sink) (%s)", how, m.of(metric)) }
	ofNestmon := func(metric string) string {
		return fmt.Sprintf("%s and on (instance, job) last_over_time(%s[%s])", m.series(metric, `site=~"$site"`), m.of("build_info"), missed)
	}
	age := fmt.Sprintf("max by (site, sink) (time() - %s)", m.of("spool_oldest_timestamp_seconds"))
	return board{
		source: prometheusSource, slug: "daemon", title: "The daemon itself",
		about: "Whether nestmon lives, whether its clock is right, and whether what it sends arrives.",
		rows: []row{
			{4, []panel{
				{
					kind: number, width: 4, title: "Answers Prometheus", words: answers, queries: []query{{text: fmt.Sprintf("min by (site, instance) (%s)", ofNestmon("up")), legend: "{{site}} {{instance}}"}},
					about: "Whether each daemon answers. Silent: look at the board's power, its network, then `systemctl status nestmon`.",
				},
				{
					kind: number, width: 4, title: "Age of its state", unit: "s", steps: []step{{0, green}, {fresh, red}}, queries: []query{{text: fmt.Sprintf("max by (site, instance) (time() - %s)", m.of("snapshot_timestamp_seconds")), legend: "{{site}} {{instance}}"}},
					about: "It makes one with every poll. Above five minutes it hangs: restart it and keep the log.",
				},
				{
					kind: number, width: 4, title: "Clock", words: clock, queries: []query{{text: m.of("clock_synchronized"), legend: "{{site}}"}},
					about: "Without a right clock ages, seasons and quiet hours are wrong, and InfluxDB gets nothing. Give the board a network with a time server, or a clock with a battery.",
				},
				{
					kind: number, width: 4, title: "Runs since", unit: "s", queries: []query{{text: fmt.Sprintf("time() - %s", m.of("start_timestamp_seconds")), legend: "{{site}}"}},
					about: "Time since the start. Shorter than you know of: it was restarted, see the log and the power.",
				},
				{
					kind: number, width: 4, title: "Ways to a phone", words: reached,
					queries: []query{{text: fmt.Sprintf("max by (site) (%s) or 0 * max by (site) (%s)", m.of("phone_unreachable"), m.of("start_timestamp_seconds")), legend: "{{site}}"}},
					about:   "None works: it can call nobody. Look at the board's network, and at what `nestmon status` says of each way.",
				},
				{
					kind: names, width: 4, title: "Version", queries: []query{{text: m.of("build_info"), legend: "{{version}} {{site}}"}},
					about: "The program's version in each shed.",
				},
			}},
			{8, []panel{{
				kind: list, width: wide, title: "Where it sends",
				about: "Every sink. Fails: the page and the log say why in words. Settings wrong: waiting does not help, put right what they name. What waits is kept and sent later, in order; nothing is lost while the card has room. Refused for good: `nestmon export --refused` says what and why. Polls too old: the archive removed them for age before the sink had them.",
				queries: []query{
					{text: bySink("min", "sink_up")},
					{text: bySink("max", "spool_points")},
					{text: age},
					{text: bySink("max", "sink_sent_total")},
					{text: bySink("max", "sink_failed_total")},
					{text: bySink("max", "sink_misconfigured")},
					{text: bySink("max", "sink_refused_total")},
					{text: bySink("max", "sink_pruned_total")},
				},
				columns: []column{
					{field: "site", header: "Shed"},
					{field: "sink", header: "Sink"},
					{field: "Value #A", header: "State", words: arrives},
					{field: "Value #F", header: "Settings", words: wrong},
					{field: "Value #B", header: "Waiting"},
					{field: "Value #C", header: "Oldest, age", unit: "s"},
					{field: "Value #D", header: "Sent since the start", unit: "short"},
					{field: "Value #E", header: "Failed tries", unit: "short"},
					{field: "Value #G", header: "Refused for good", unit: "short"},
					{field: "Value #H", header: "Polls too old", unit: "short"},
				},
			}}},
			{8, []panel{
				{
					kind: curves, width: 12, title: "Waiting to be sent", shades: blue, atLeast: true, queries: []query{{text: bySink("max", "spool_points"), legend: "{{sink}} {{site}}"}},
					about: "Rising: the sink does not take what comes. It falls by itself when the sink is back.",
				},
				{
					kind: curves, width: 12, title: "Age of the oldest that waits", unit: "s", shades: red, atLeast: true, queries: []query{{text: age, legend: "{{sink}} {{site}}"}},
					about: "Only while something waits. Older than InfluxDB's retention is refused there and set aside: repair it before.",
				},
			}},
			{8, []panel{
				{
					kind: curves, width: 12, title: "Sent in a minute", decimals: 1, shades: green, atLeast: true, queries: []query{{text: fmt.Sprintf("sum by (site, sink) (rate(%s[$__rate_interval])) * 60", m.of("sink_sent_total")), legend: "{{sink}} {{site}}"}},
					about: "What each sink took. Flat at nothing while others move: that sink has nothing to send, or fails.",
				},
				{
					kind: curves, width: 12, title: "Failed tries in a minute", decimals: 2, shades: red, atLeast: true, queries: []query{{text: fmt.Sprintf("sum by (site, sink) (rate(%s[$__rate_interval])) * 60", m.of("sink_failed_total")), legend: "{{sink}} {{site}}"}},
					about: "Tries that failed. nestmon tries ever more slowly and never gives up: repair what the log names.",
				},
			}},
			{8, []panel{
				{
					kind: states, width: 12, title: "Sinks over time", words: arrives, queries: []query{{text: bySink("min", "sink_up"), legend: "{{sink}} {{site}}"}},
					about: "When what goes to a sink did not arrive.",
				},
				{
					kind: curves, width: 6, title: "How long a scrape takes", unit: "s", decimals: 3, shades: blue, atLeast: true, queries: []query{{text: ofNestmon("scrape_duration_seconds"), legend: "{{site}} {{instance}}"}},
					about: "Milliseconds are usual: a scrape waits for no bus. Seconds: the board is overloaded, or its network is bad.",
				},
				{
					kind: curves, width: 6, title: "Samples in a scrape", shades: purple, atLeast: true, queries: []query{{text: ofNestmon("scrape_samples_scraped"), legend: "{{site}} {{instance}}"}},
					about: "About 60, and 40 for each nest. A step down: nests or probes left the configuration, or fell silent.",
				},
			}},
			{8, []panel{
				{
					kind: curves, width: 12, title: "Room on the card", unit: "bytes", shades: green, atLeast: true, queries: []query{{text: m.of("disk_free_bytes"), legend: "{{site}}"}},
					about: "What the archive can still take. Under 200 MB: free some of the card, or move to a larger one.",
				},
				{
					kind: curves, width: 12, title: "The archive", unit: "bytes", shades: blue, atLeast: true, queries: []query{{text: m.of("archive_bytes"), legend: "{{site}}"}},
					about: "Size of its files. It grows by less than 1 MB a day with a few nests.",
				},
			}},
		},
	}
}
