package grafana

import "fmt"

// onlyPrometheus says what is missing, on every dashboard over InfluxDB.
const onlyPrometheus = "**Readings only.** InfluxDB holds what the probes measured. Alarms, limits, the estimate of the huddle's core, what is *not* judged, chores and the state of nestmon itself are on nestmon's page and in Prometheus. " +
	"A curve here does not say that anybody watches, and a calm one is no all-clear."

// influxdb are the dashboards on an InfluxDB that nestmon fills, in InfluxQL: versions 1.8 and, by their 1.x interface, 2.
func (m *maker) influxdb() []board {
	return []board{rabbitryReadings(), nestReadings(), probeReadings(), daemonReadings()}
}

// at are the chosen sheds.
const at = `"site" =~ /^$site$/`

// over asks for the mean of a field over time.
func over(field, where, by string) string {
	return fmt.Sprintf(`SELECT mean("%s") FROM "nestmon" WHERE %s AND %s AND $timeFilter GROUP BY time($__interval), %s fill(null)`, field, at, where, by)
}

func temperatureOver(where, by string) string {
	return fmt.Sprintf(`SELECT (mean("temperature") + 40) * $degrees - 40 FROM "nestmon" WHERE %s AND %s AND $timeFilter GROUP BY time($__interval), %s fill(null)`, at, where, by)
}

// newest asks for the last value of a field, with its time.
func newest(field, where, by string) string {
	return fmt.Sprintf(`SELECT last("%s") AS "%[1]s" FROM "nestmon" WHERE %s AND %s AND $timeFilter GROUP BY %s`, field, at, where, by)
}

func newestTemperature(where, by string) string {
	return fmt.Sprintf(`SELECT ("celsius" + 40) * $degrees - 40 AS "temperature" FROM (SELECT last("temperature") AS "celsius" FROM "nestmon" WHERE %s AND %s AND $timeFilter GROUP BY %s) GROUP BY %[3]s`, at, where, by)
}

const (
	anywhere  = `"probe" =~ /./`
	inNests   = `"nest" =~ /./`
	allTags   = `"site", "nest", "role", "probe"`
	hereOnly  = `"nest" = '$nest'`
	isCluster = `"role" =~ /^cluster/`
)

func warning(width uint32) panel {
	return panel{kind: note, width: width, title: "What InfluxDB does not hold", about: onlyPrometheus}
}

var placeColumns = []column{
	{field: "site", header: "Shed"},
	{field: "nest", header: "Nest", words: nestWords},
	{field: "role", header: "For"},
	{field: "probe", header: "Probe"},
	{field: "Time", header: "Read", unit: "dateTimeFromNow"},
}

func rabbitryReadings() board {
	return board{
		source: influxdbSource, slug: "rabbitry", title: "Rabbitry at a glance, from InfluxDB", temperature: true,
		about: "How warm and damp all nests and the outside are and were, by the readings in InfluxDB.",
		rows: []row{
			{3, []panel{warning(wide)}},
			{10, []panel{
				{
					kind: list, width: 14, title: "Newest temperatures, ${degrees:text}", queries: []query{{text: newestTemperature(anywhere, allTags)}},
					columns: append(placeColumns[:len(placeColumns):len(placeColumns)], column{field: "temperature", header: "Now ${degrees:text}", decimals: 1}), decimals: 1,
					about: "The last temperature of each probe in the time chosen above. Read long ago: the probe, nestmon or the way to InfluxDB is silent; nestmon's page says which.",
				},
				{
					kind: list, width: 10, title: "Newest humidities, %", queries: []query{{text: newest("humidity", anywhere, allTags)}},
					columns: append(placeColumns[:len(placeColumns):len(placeColumns)], column{field: "humidity", header: "Now %"}),
					about:   "The last humidity of each probe that measures it. High for hours in mild air: feel the bedding.",
				},
			}},
			{10, []panel{
				{
					kind: curves, width: 12, title: "Under the kits, ${degrees:text}", decimals: 1, shades: red, queries: []query{{text: temperatureOver(inNests+" AND "+isCluster, `"site", "nest", "probe"`), legend: "$tag_nest $tag_probe"}},
					about: "The probes under the piles. A curve that sinks away from the others is a litter that loses warmth: open that nest, gather scattered kits, cover them.",
				},
				{
					kind: curves, width: 12, title: "Nest air, ${degrees:text}", decimals: 1, shades: blue, queries: []query{{text: temperatureOver(inNests+` AND "role" = 'air'`, `"site", "nest"`), legend: "$tag_nest $tag_site"}},
					about: "The air above the cover of each nest. All rising together: shade, water and moving air for the whole shed. One alone: look at that nest.",
				},
			}},
			{9, []panel{
				{
					kind: curves, width: 12, title: "Outside in the shade, ${degrees:text}", decimals: 1, queries: []query{{text: temperatureOver(`"role" = 'outside'`, `"site"`), legend: "$tag_site", colour: blue}},
					about: "The outside probe of each shed. Spikes in clear weather: the sun reaches it, hang it elsewhere.",
				},
				{
					kind: curves, width: 12, title: "Humidity, %", shades: green, queries: []query{{text: over("humidity", anywhere, `"site", "nest", "probe"`), legend: "$tag_nest $tag_probe"}},
					about: "Humidity of nests and outside.",
				},
			}},
		},
	}
}

func nestReadings() board {
	return board{
		source: influxdbSource, slug: "nest", title: "One nest, from InfluxDB", oneNest: true, temperature: true,
		about: "The readings of one nest. Where several sheds have a nest of that name, choose the shed.",
		rows: []row{
			{3, []panel{warning(wide)}},
			{11, []panel{{
				kind: curves, width: wide, title: "The kits and the air above them, ${degrees:text}", decimals: 1,
				queries: []query{
					{text: temperatureOver(hereOnly+" AND "+isCluster, `"probe"`), legend: "under the kits: $tag_probe", colour: blue},
					{text: temperatureOver(hereOnly+` AND "role" = 'air'`, `"probe"`), legend: "nest air: $tag_probe", colour: red},
					{text: temperatureOver(hereOnly+` AND "role" = 'cage'`, `"probe"`), legend: "the doe's air: $tag_probe", colour: green},
					{text: temperatureOver(`"role" = 'outside'`, `"site"`), legend: "outside $tag_site", colour: purple},
				},
				about: "Under the kits well above the air: they lie there and are warm. The two drawing together: the pile has moved, or cools. Open the nest. The limits in force are on nestmon's page; `nestmon limits` prints them.",
			}}},
			{9, []panel{
				{
					kind: curves, width: 12, title: "Humidity in the nest, %", queries: []query{{text: over("humidity", hereOnly, `"role", "probe"`), legend: "$tag_role: $tag_probe", colour: blue}},
					about: "Humidity of the nest's air. High for hours in mild air: feel the bedding, change what is wet.",
				},
				{
					kind: curves, width: 12, title: "Carbon dioxide, ppm", atLeast: true, queries: []query{{text: over("co2", hereOnly, `"probe"`), legend: "$tag_probe", colour: purple}},
					about: "Only where a probe for it is fitted. Rising over days: the vents are shut or buried. Never close vents against cold.",
				},
			}},
			{7, []panel{{
				kind: curves, width: wide, title: "Readings in ten minutes", shades: blue, atLeast: true, queries: []query{{text: fmt.Sprintf(`SELECT count("temperature") FROM "nestmon" WHERE %s AND %s AND $timeFilter GROUP BY time(10m), "probe" fill(0)`, at, hereOnly), legend: "$tag_probe"}},
				about: "How many temperatures came from each probe. Down to nothing: it is silent, and what it should see is not watched.",
			}}},
		},
	}
}

func probeReadings() board {
	lastOf := func(width uint32, title, field, header string, decimals float64, about string) panel {
		return panel{
			kind: list, width: width, title: title, about: about, decimals: decimals, queries: []query{{text: newest(field, anywhere, allTags)}},
			columns: append(placeColumns[:len(placeColumns):len(placeColumns)], column{field: field, header: header}),
		}
	}
	return board{
		source: influxdbSource, slug: "probes", title: "Probes' health, from InfluxDB", temperature: true,
		about: "Which probes brought readings, how many and when last. Why one does not is on nestmon's page and in Prometheus.",
		rows: []row{
			{3, []panel{warning(wide)}},
			{10, []panel{
				{
					kind: list, width: 12, title: "Newest temperature of each probe, ${degrees:text}", decimals: 1, queries: []query{{text: newestTemperature(anywhere, allTags)}},
					columns: append(placeColumns[:len(placeColumns):len(placeColumns)], column{field: "temperature", header: "Now ${degrees:text}"}),
					about:   "A probe that has brought nothing in the time chosen above is missing here: choose a longer time to find it, then look at its plug and cable.",
				},
				{
					kind: curves, width: 12, title: "Readings in ten minutes", shades: blue, atLeast: true, queries: []query{{text: fmt.Sprintf(`SELECT count("temperature") FROM "nestmon" WHERE %s AND $timeFilter GROUP BY time(10m), "probe" fill(0)`, at), legend: "$tag_probe"}},
					about: "Temperatures that came from each probe. Fewer than the others of its kind: a bad cable. Nothing: a dead probe, or a wrong clock, for readings without a right time are not sent.",
				},
			}},
			{9, []panel{
				lastOf(8, "Newest humidity, %", "humidity", "Now %", 1, "At 100 % for days: water on the chip. Dry it, or replace it."),
				lastOf(8, "Newest carbon dioxide, ppm", "co2", "Now ppm", 0, "Far below outside air, some 400 ppm, for days: the probe has lost its zero; give it fresh air."),
				lastOf(8, "Newest battery voltage, V", "voltage", "Now V", 2, "Below 12.0 V a 12 V lead-acid battery is nearly empty: charge it."),
			}},
			{8, []panel{
				{
					kind: curves, width: 12, title: "Battery, V", decimals: 2, queries: []query{{text: over("voltage", anywhere, `"site", "probe"`), legend: "$tag_probe $tag_site", colour: green}},
					about: "Voltage of what feeds the board, where it is measured.",
				},
				{
					kind: curves, width: 12, title: "Battery, A", decimals: 2, queries: []query{{text: over("current", anywhere, `"site", "probe"`), legend: "$tag_probe $tag_site", colour: purple}},
					about: "Current into or out of the battery, as its shunt is wired. No charging by day: clean the panel, look at its fuse.",
				},
			}},
		},
	}
}

func daemonReadings() board {
	return board{
		source: influxdbSource, slug: "daemon", title: "The daemon itself, from InfluxDB", temperature: true,
		about: "Whether what nestmon reads arrives in InfluxDB, and where there are holes.",
		rows: []row{
			{3, []panel{warning(wide)}},
			{8, []panel{
				{
					kind: list, width: 8, title: "Newest reading of each shed, ${degrees:text}", decimals: 1, queries: []query{{text: newestTemperature(anywhere, `"site"`)}},
					columns: []column{{field: "site", header: "Shed"}, {field: "Time", header: "Read", unit: "dateTimeFromNow"}, {field: "temperature", header: "${degrees:text}"}},
					about:   "When the last temperature of each shed was read. Minutes ago: it arrives. Longer: nestmon's page says whether the probes, the clock or the way to InfluxDB is to blame; what waits is sent later.",
				},
				{
					kind: curves, width: 8, title: "Readings in ten minutes", shades: blue, atLeast: true, queries: []query{{text: fmt.Sprintf(`SELECT count("temperature") FROM "nestmon" WHERE %s AND $timeFilter GROUP BY time(10m), "site" fill(0)`, at), legend: "$tag_site"}},
					about: "Temperatures of each shed. A hole that fills up later was an outage of InfluxDB; one that stays, of nestmon or its clock.",
				},
				{
					kind: curves, width: 8, title: "Longest wait between readings", unit: "s", shades: red, atLeast: true,
					queries: []query{{text: fmt.Sprintf(`SELECT max("gap") FROM (SELECT elapsed("temperature", 1s) AS "gap" FROM "nestmon" WHERE %s AND $timeFilter GROUP BY "site") WHERE $timeFilter GROUP BY time($__interval), "site" fill(none)`, at), legend: "$tag_site"}},
					about:   "The longest time without any temperature of a shed. More than a few polls: nestmon stood still, was restarted, or its clock was not to be trusted.",
				},
			}},
		},
	}
}
