package grafana

import "fmt"

// fresh is how old a state may be before it says nothing any more, in s: as in the rule that tells of a daemon that hangs, and longer than the
// longest poll.
const fresh = 900

// missed is for how long a shed that stopped answering is remembered: ours, no source. One that was taken away is shown for as long.
const missed = "1d"

// toDegrees turns °C into what was chosen.
func toDegrees(celsius string) string { return "(" + celsius + " + 40) * $degrees - 40" }

// live are the sheds whose state is young.
func (m *maker) live() string {
	return fmt.Sprintf("(time() - %s < %d)", m.of("snapshot_timestamp_seconds"), fresh)
}

// worst says how bad it is, by the dashboards' own scale: the standing alarms of young states, half a point for a danger that is not
// judged, and 4 for what was there within the last day and does not answer; of a shed as long as it is one of those to be scraped.
func (m *maker) worst(of, matcher string) string {
	judged := []string{`danger!="damp"`} // damp is not judged in cold air, every winter
	alarms := []string{}
	seen, dead := m.of("snapshot_timestamp_seconds"), fmt.Sprintf("\n  or 4 + (%s == 0)", m.series("up", `job="nestmon"`, `site=~"$site"`))
	if matcher != "" {
		judged, alarms = append(judged, matcher), append(alarms, matcher)
		seen, dead = m.of("nest_info", matcher), ""
	}
	return fmt.Sprintf("%s(\n  %s and on (instance, job) %s\n  or 0.5 * (%s == bool 0)\n  or 4 + 0 * (last_over_time(%s[%s]) unless on (instance, job) %s)%s\n)",
		of, m.of("alarm_severity", alarms...), m.live(), m.of("danger_judged", judged...), seen, missed, m.live(), dead)
}

// rabbitry is the dashboard of all nests.
func (m *maker) rabbitry() board {
	warmth := func(metric string, matchers ...string) string {
		return toDegrees("max by (site, nest) (" + m.of(metric, matchers...) + ")")
	}
	outside := func(metric string) string { return m.of(metric, `role="outside"`) }
	return board{
		source: prometheusSource, slug: "rabbitry", title: "Rabbitry at a glance", temperature: true,
		about: "All nests: what is wrong, how warm they are, what is not judged, what is due. It shows what nestmon decided and decides nothing; alarms come to the phone without it.",
		rows: []row{
			{5, []panel{
				{
					kind: number, width: 6, title: "Worst alarm", words: severities, queries: []query{{text: m.worst("max ", "")}},
					about: "The most severe of all alarms that stand. Urgent: go now, the list below says where and what. \"No answer\": look at the board, its power and its network; until then walk to the nests.",
				},
				{
					kind: number, width: 4, title: "Dangers not judged", words: none, steps: []step{{0, green}, {1, purple}},
					queries: []query{{text: fmt.Sprintf("sum(1 - %s)", m.of("danger_judged", `danger!="damp"`))}},
					about:   "How many times heat, chill or cold is not judged in a nest: of those nobody would be told. The list below says where. A nest without a litter entered has no chill to judge; enter its litter when kits are there. Otherwise look at the probe.",
				},
				{
					kind: number, width: 4, title: "Alarms nobody has seen", words: none, steps: []step{{0, green}, {1, orange}},
					queries: []query{{text: fmt.Sprintf("sum(%s)", m.of("alarms_unacknowledged"))}},
					about:   "Alarms that stand and call, since nobody has acknowledged them or set them aside. Look, then say so with `nestmon alarms ack`, so that the others know somebody is at it.",
				},
				{
					kind: number, width: 3, title: "Chores due", words: none, steps: []step{{0, green}, {1, skyBlue}},
					queries: []query{{text: fmt.Sprintf("sum(%s)", m.of("chores_due"))}},
					about:   "Bedding, boxes, inspections, weaning: what has come due. nestmon's page says what and where; mark it with `nestmon chores done` when it is done.",
				},
				{
					kind: number, width: 4, title: "Oldest news", unit: "s", steps: []step{{0, green}, {fresh, red}},
					queries: []query{{text: fmt.Sprintf("max(time() - %s)", m.of("snapshot_timestamp_seconds"))}},
					about:   "How old the newest state of the slowest shed is. Above five minutes its daemon hangs: restart it, and look at the nests until it answers.",
				},
				{
					kind: names, width: 3, title: "Season", queries: []query{{text: m.of("season_info"), legend: "{{season}} {{site}}"}},
					about: "What the nests are judged by. Wrong for the weather outside? Then the outside probe hangs in the sun or is silent.",
				},
			}},
			{10, []panel{m.nestList(warmth)}},
			{8, []panel{
				{
					kind: list, width: 12, title: "Alarms that stand", about: "What is wrong, since when. Follow the words of nestmon's message: it says what to do first. An alarm of no nest is about the outside air, a bus or the board.",
					queries: []query{
						{text: fmt.Sprintf("max by (site, nest, event) (%s > 0)", m.of("alarm_severity"))},
						{text: fmt.Sprintf("max by (site, nest, event) (%s) * 1000", m.of("alarm_raised_timestamp_seconds"))},
					},
					columns: []column{
						{field: "site", header: "Shed"},
						{field: "nest", header: "Nest", words: nestWords},
						{field: "event", header: "What", words: m.eventWords()},
						{field: "Value #A", header: "How bad", words: severities},
						{field: "Value #B", header: "Since", unit: "dateTimeFromNow"},
					},
				},
				{
					kind: list, width: 12, title: "Not judged: nobody would be told", about: "Dangers that are not judged now, so silence about them means nothing. Heat needs a nest-air probe, chill a probe under the kits and a litter entered. Damp is left out: humidity cannot tell it in cold air.",
					queries: []query{{text: fmt.Sprintf("max by (site, nest, danger) (%s == 0)", m.of("danger_judged", `danger!="damp"`))}},
					columns: []column{{field: "site", header: "Shed"}, {field: "nest", header: "Nest"}, {field: "danger", header: "Danger"}},
				},
			}},
			{10, []panel{
				{
					kind: curves, width: 12, title: "Warmth inside the huddles, ${degrees:text}", shades: red, decimals: 1,
					queries: []query{{text: warmth("cluster_core_celsius"), legend: "{{nest}} {{site}}"}},
					about:   "The estimate of the huddle's core in each nest. A curve that sinks away from the others is a litter that loses warmth: open that nest, gather scattered kits, cover them.",
				},
				{
					kind: curves, width: 12, title: "Nest air, ${degrees:text}", shades: blue, decimals: 1,
					queries: []query{{text: warmth("probe_temperature_celsius", `role="air"`), legend: "{{nest}} {{site}}"}},
					about:   "The air above the cover of each nest. All rising together: shade, water and moving air for the whole shed. One alone: look at that nest. A curve that ends is a silent probe.",
				},
			}},
			{8, []panel{
				{
					kind: curves, width: 8, title: "Outside in the shade, ${degrees:text}", decimals: 1,
					queries: []query{
						{text: toDegrees(outside("probe_temperature_celsius")), legend: "air {{site}}", colour: blue},
						{text: toDegrees(m.of("outside_rabbit_thi_celsius")), legend: "heat index {{site}}", colour: red},
					},
					about: "The outside probe and, from its humidity, the heat index for rabbits. From 27.8 °C (82 °F) of the index on does suffer: shade, a wrapped frozen bottle, water, moving air.",
				},
				{
					kind: curves, width: 8, title: "Humidity outside", unit: "percentunit",
					queries: []query{{text: outside("probe_humidity_ratio"), legend: "{{site}}", colour: blue}},
					about:   "Humidity of the shade air. Damp outside dries no bedding: look for wet nests after days near 100 %.",
				},
				{
					kind: states, width: 8, title: "Alarms over time, by nest", words: severities,
					queries: []query{{text: fmt.Sprintf("max by (site, nest) (%s)", m.of("alarm_severity", `nest!=""`)), legend: "{{nest}} {{site}}"}},
					about:   "The worst alarm of each nest over time. A nest that comes up again and again needs another place, another bedding or another probe.",
				},
			}},
		},
	}
}

// nestList is the table of all nests.
func (m *maker) nestList(warmth func(string, ...string) string) panel {
	return panel{
		kind: list, width: wide, title: "All nests",
		about: "One line for each nest. \"No alarm\" counts only where nothing is \"not judged\". An empty cell is a value nobody has: a silent probe, or none there. \"Calls nobody\" counts alarms that are shelved, out of service or covered by another: they stand, and the phone stays silent. Click a nest to look closer.",
		queries: []query{
			{text: m.worst("max by (site, nest) ", `nest!=""`)},
			{text: warmth("cluster_core_celsius")},
			{text: warmth("probe_temperature_celsius", `role=~"cluster.*"`)},
			{text: warmth("probe_temperature_celsius", `role="air"`)},
			{text: fmt.Sprintf("max by (site, nest) (%s)", m.of("probe_humidity_ratio", `role="air"`))},
			{text: fmt.Sprintf("sum by (site, nest) (1 - %s)", m.of("danger_judged", `danger!="damp"`))},
			{text: fmt.Sprintf("max by (site, nest) (%s)", m.of("chores_due", `nest!=""`))},
			{text: fmt.Sprintf("max by (site, nest) (time() - %s) / 86400", m.of("litter_kindled_timestamp_seconds"))},
			{text: fmt.Sprintf("max by (site, nest, kind, stage) (%s)", m.of("nest_info"))},
			{text: fmt.Sprintf("sum by (site, nest) (%s)", m.of("alarms_quieted", `nest!=""`, `status!="returned-unacknowledged"`))},
		},
		columns: []column{
			{field: "site", header: "Shed"},
			{field: "nest", header: "Nest", link: "/d/nestmon-prometheus-nest?var-nest=${__value.text}&${site:queryparam}&${degrees:queryparam}&${datasource:queryparam}&${__url_time_range}"},
			{field: "Value #A", header: "Worst alarm", words: severities},
			{field: "Value #F", header: "Not judged", words: []word{{"0", "all judged", green}}, steps: []step{{0, green}, {1, purple}}},
			{field: "Value #J", header: "Calls nobody", steps: []step{{0, green}, {1, purple}}},
			{field: "Value #B", header: "Core ${degrees:text}", decimals: 1},
			{field: "Value #C", header: "Under the kits ${degrees:text}", decimals: 1},
			{field: "Value #D", header: "Nest air ${degrees:text}", decimals: 1},
			{field: "Value #E", header: "Humidity", unit: "percentunit"},
			{field: "Value #G", header: "Chores due"},
			{field: "stage", header: "Litter", words: stages},
			{field: "Value #H", header: "Days old", decimals: 1},
			{field: "kind", header: "Kind", words: kinds},
		},
	}
}
