package grafana

import "fmt"

// nest is the dashboard of one nest.
func (m *maker) nest() board {
	of := func(metric string, matchers ...string) string {
		return m.of(metric, append(matchers, `nest="$nest"`)...)
	}
	degrees := func(metric string, matchers ...string) string { return toDegrees(of(metric, matchers...)) }
	limit := func(name string) string { return degrees("limit_celsius", fmt.Sprintf("limit=%q", name)) }
	return board{
		source: prometheusSource, slug: "nest", title: "One nest", oneNest: true, temperature: true,
		about: "One nest: the warmth of the kits and of the air above them between the limits in force, humidity, alarms, and the age of the litter. Where several sheds have a nest of that name, choose the shed.",
		rows: []row{
			{4, []panel{
				{
					kind: number, width: 7, title: "Worst alarm of ${nest}", words: severities, queries: []query{{text: m.worst("max ", `nest="$nest"`)}},
					about: "The most severe alarm of this nest. Urgent: go now. \"No alarm\" counts only where all is judged.",
				},
				{
					kind: number, width: 8, title: "What is judged", words: judged, queries: []query{{text: of("danger_judged"), legend: "{{danger}}"}},
					about: "Which dangers nestmon watches here now. Not judged: nobody would be told. Heat needs a nest-air probe, chill a probe under the kits and a litter entered; damp cannot be told in cold air.",
				},
				{
					kind: number, width: 3, title: "Days since birth", decimals: 1,
					queries: []query{{text: fmt.Sprintf("max((time() - %s) / 86400)", of("litter_kindled_timestamp_seconds"))}},
					about:   "Age of the litter in days of 24 hours; nestmon's page counts from midnight. No answer: no birth was entered or found. Enter the date, for the limits follow the age.",
				},
				{
					kind: names, width: 4, title: "Litter", queries: []query{{text: of("nest_info"), legend: "{{stage}}"}},
					about: "Where the nest is in the litter clock: empty, bred, waiting for kits, nursing, out of the box. Wrong? Enter what happened with `nestmon litter`.",
				},
				{
					kind: number, width: 2, title: "Chores due", words: none, steps: []step{{0, green}, {1, skyBlue}}, queries: []query{{text: fmt.Sprintf("sum(%s)", of("chores_due"))}},
					about: "What has come due for this nest; nestmon's page says what.",
				},
			}},
			{10, []panel{{
				kind: curves, width: wide, title: "The kits, ${degrees:text}", decimals: 1,
				queries: []query{
					{text: limit("cluster-hot"), legend: "too hot above", colour: red, dashed: true, bandTo: "core too cold below"},
					{text: limit("cluster-cold"), legend: "core too cold below", colour: green, dashed: true},
					{text: degrees("probe_temperature_celsius", `role=~"cluster.*"`), legend: "under the kits: {{probe}}", colour: blue},
					{text: degrees("cluster_core_celsius"), legend: "core of the huddle, estimated", colour: purple},
				},
				about: "The probe under the pile and the estimate of its core, with the band that is right for the litter's age behind them. The core below the band: scattered or uncovered kits, gather and cover them, warm a limp kit slowly. Above it: thin the fur, shade. Without a band no such limit is in force.",
			}}},
			{10, []panel{{
				kind: curves, width: wide, title: "Nest air, ${degrees:text}", decimals: 1,
				queries: []query{
					{text: limit("air-hot-urgent"), legend: "urgently hot above", colour: red, dashed: true, bandTo: "hot above"},
					{text: limit("air-hot"), legend: "hot above", colour: orange, dashed: true, bandTo: "cold below"},
					{text: limit("air-cold"), legend: "cold below", colour: green, dashed: true},
					{text: degrees("probe_temperature_celsius", `role="air"`), legend: "nest air: {{probe}}", colour: blue},
				},
				about: "The air above the cover: it decides heat. Between the two upper limits: shade, thin the fur, moving air. Above both: now, and take the box into the cool if need be. Without a band no such limit is in force.",
			}}},
			{8, []panel{
				{
					kind: curves, width: 12, title: "Humidity in the nest", unit: "percentunit", queries: []query{{text: of("probe_humidity_ratio"), legend: "{{role}}: {{probe}}", colour: blue}},
					about: "Humidity of the nest's air. High for hours in mild air: feel the bedding, change what is wet. It says nothing by itself in cold air.",
				},
				{
					kind: curves, width: 12, title: "Carbon dioxide, ppm", atLeast: true, queries: []query{{text: of("probe_carbon_dioxide_ratio") + " * 1e6", legend: "{{probe}}", colour: purple}},
					about: "Only where a probe for it is fitted. Rising over days: the vents are shut or buried. Never close vents against cold.",
				},
			}},
			{10, []panel{{
				kind: states, width: wide, title: "Alarms over time", words: severities, queries: []query{{text: fmt.Sprintf("max by (event) (%s)", of("alarm_severity")), legend: "{{event}}"}},
				about: "Each alarm of this nest. One that comes and goes often asks for a look at the probe's place, or at the limits. A gap is a time without news, not a time without alarm.",
			}}},
			{8, []panel{{
				kind: curves, width: wide, title: "Around the nest, ${degrees:text}", decimals: 1,
				queries: []query{
					{text: degrees("probe_temperature_celsius", `role="cage"`), legend: "the doe's air: {{probe}}", colour: green},
					{text: toDegrees(m.of("probe_temperature_celsius", `role="outside"`)), legend: "outside {{site}}", colour: blue},
				},
				about: "The doe's own air, where a probe hangs there, and the shade outside. A nest that follows the outside closely is badly insulated or open.",
			}}},
		},
	}
}
