package grafana

import "fmt"

// byProbe are the labels that name a probe and its place.
const byProbe = "by (site, nest, role, probe) "

// probes is the dashboard of the probes' health.
func (m *maker) probes() board {
	share := fmt.Sprintf("sum %[1]s(increase(%[2]s[$__rate_interval])) / sum %[1]s(increase(%[3]s[$__rate_interval]))", byProbe, m.of("probe_failed_reads_total"), m.of("probe_reads_total"))
	inRange := fmt.Sprintf("sum %[1]s(increase(%[2]s[$__range])) / (sum %[1]s(increase(%[3]s[$__range])) > 0)", byProbe, m.of("probe_failed_reads_total"), m.of("probe_reads_total"))
	age := fmt.Sprintf("max %s(time() - %s)", byProbe, m.of("probe_last_success_timestamp_seconds"))
	return board{
		source: prometheusSource, slug: "probes", title: "Probes' health", temperature: true,
		about: "Which probes answer, how old their last good value is, how often they fail, what speaks against them, and the buses they hang on.",
		rows: []row{
			{4, []panel{
				{
					kind: number, width: 6, title: "Silent probes", words: none, steps: []step{{0, green}, {1, red}}, queries: []query{{text: fmt.Sprintf("sum(1 - %s)", m.of("probe_up"))}},
					about: "Probes without a value young enough to act on. Look at plug and cable; `nestmon probes` lists what the buses show.",
				},
				{
					kind: number, width: 6, title: "Doubts about probes", words: none, steps: []step{{0, green}, {1, orange}},
					queries: []query{{text: fmt.Sprintf("count(%s) or 0 * count(%s)", m.of("probe_doubted"), m.of("probe_up"))}},
					about:   "Reasons to mistrust a probe that answers. The list says which; compare it with the probe beside it, or in melting ice.",
				},
				{
					kind: number, width: 6, title: "Buses that fail", words: none, steps: []step{{0, green}, {1, red}}, queries: []query{{text: fmt.Sprintf("sum(1 - %s)", m.of("bus_up"))}},
					about: "A bus that fails takes all its probes with it: look at its first plug, its power and its pull-up.",
				},
				{
					kind: number, width: 6, title: "Longest silence", unit: "s", steps: []step{{0, green}, {fresh, orange}, {3600, red}},
					queries: []query{{text: fmt.Sprintf("max(time() - %s)", m.of("probe_last_success_timestamp_seconds"))}},
					about:   "How long the most silent probe has given nothing. A radio probe may send every few minutes; more than an hour is a dead probe.",
				},
			}},
			{12, []panel{{
				kind: list, width: wide, title: "All probes",
				about: "One line for each probe, a further one for each doubt. Failed: the share of readings without a usable value in the time chosen above; below 1 % is usual on a good cable, and rising means a plug that corrodes.",
				queries: []query{
					{text: fmt.Sprintf("max %s(%s)", byProbe, m.of("probe_up"))},
					{text: age},
					{text: inRange},
					{text: toDegrees(fmt.Sprintf("max %s(%s)", byProbe, m.of("probe_temperature_celsius")))},
					{text: fmt.Sprintf("max %s(%s)", byProbe, m.of("probe_humidity_ratio"))},
					{text: fmt.Sprintf("max by (site, nest, role, probe, reason) (%s)", m.of("probe_doubted"))},
				},
				columns: []column{
					{field: "site", header: "Shed"},
					{field: "nest", header: "Nest", words: nestWords},
					{field: "role", header: "For"},
					{field: "probe", header: "Probe"},
					{field: "Value #A", header: "State", words: answers},
					{field: "Value #B", header: "Last good value, age", unit: "s"},
					{field: "Value #C", header: "Failed", unit: "percentunit", decimals: 1},
					{field: "reason", header: "Doubt"},
					{field: "Value #D", header: "Now ${degrees:text}", decimals: 1},
					{field: "Value #E", header: "Humidity", unit: "percentunit"},
				},
			}}},
			{9, []panel{
				{
					kind: curves, width: 12, title: "Age of the last good value", unit: "s", shades: blue, atLeast: true, queries: []query{{text: age, legend: "{{probe}} {{site}}"}},
					about: "A line that climbs is a probe that has fallen silent; it falls back when the probe comes back.",
				},
				{
					kind: curves, width: 12, title: "Readings that failed", unit: "percentunit", decimals: 1, shades: red, atLeast: true, queries: []query{{text: share, legend: "{{probe}} {{site}}"}},
					about: "Share of each probe's readings without a usable value. All of a bus together: cable length, pull-up, power. One alone: its plug.",
				},
			}},
			{9, []panel{
				{
					kind: curves, width: 12, title: "Why readings failed, in a minute", decimals: 2, shades: purple, atLeast: true,
					queries: []query{{text: fmt.Sprintf("sum by (site, reason) (rate(%s[$__rate_interval])) * 60", m.of("probe_read_errors_total")), legend: "{{reason}} {{site}}"}},
					about:   "no-answer: plug or cable. bad-checksum, malformed: a long or badly ended line. bus-down, timed-out: the bus. impossible, out-of-range, stuck-low: the probe or its power. wrong-probe: probes were swapped.",
				},
				{
					kind: states, width: 12, title: "Probes over time", words: answers, queries: []query{{text: fmt.Sprintf("min by (site, probe) (%s)", m.of("probe_up")), legend: "{{probe}} {{site}}"}},
					about: "When each probe was silent. At the same hour every day: heat, frost or somebody who works there.",
				},
			}},
			{8, []panel{
				{
					kind: states, width: 8, title: "Buses over time", words: answers, queries: []query{{text: fmt.Sprintf("min by (site, bus) (%s)", m.of("bus_up")), legend: "{{bus}} {{site}}"}},
					about: "When each bus failed: its last poll came too late, or none of its probes answered.",
				},
				{
					kind: curves, width: 8, title: "How busy the buses are", unit: "percentunit", decimals: 1, shades: blue, atLeast: true,
					queries: []query{{text: fmt.Sprintf("sum by (site, bus) (rate(%s[$__rate_interval]))", m.of("bus_busy_seconds_total")), legend: "{{bus}} {{site}}"}},
					about:   "Share of the time a bus is in use, where its source counts. Near 100 %: poll less often, or put half of the probes on another bus.",
				},
				{
					kind: curves, width: 8, title: "Trouble on the buses", shades: red, decimals: 2, atLeast: true,
					queries: []query{
						{text: fmt.Sprintf("sum by (site, bus, kind) (rate(%s[$__rate_interval])) / on (site, bus) group_left sum by (site, bus) (rate(%s[$__rate_interval]))", m.of("bus_errors_total"), m.of("bus_transactions_total")), legend: "share with {{kind}}: {{bus}} {{site}}"},
						{text: fmt.Sprintf("sum by (site, bus) (increase(%s[$__rate_interval]))", m.of("bus_restarts_total")), legend: "restarts: {{bus}} {{site}}"},
					},
					about: "Share of a bus's transactions that failed, by what failed, and restarts of its worker. A restart is a fault in the program: keep the log and report it.",
				},
			}},
			{8, []panel{
				{
					kind: curves, width: 12, title: "Battery, V", decimals: 2, queries: []query{{text: m.of("probe_voltage_volts"), legend: "{{probe}} {{site}}", colour: green}},
					about: "Voltage of what feeds the board, where it is measured. Below 12.0 V a 12 V lead-acid battery is nearly empty: charge it.",
				},
				{
					kind: curves, width: 12, title: "Battery, A", decimals: 2, queries: []query{{text: m.of("probe_current_amperes"), legend: "{{probe}} {{site}}", colour: purple}},
					about: "Current into or out of the battery, as its shunt is wired. No charging by day: clean the panel, look at its fuse.",
				},
			}},
		},
	}
}
