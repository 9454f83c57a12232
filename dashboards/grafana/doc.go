// Package grafana makes the dashboards for Grafana that lie beside it as JSON: four for a Prometheus that scrapes nestmon, four for an
// InfluxDB that nestmon fills. It is part of no program; tests/services makes them anew and compares, and rewrites them with -update.
//
// # How it knows what there is
//
// Nothing of nestmon is imported here. Make is given the metrics of a real scrape, with labels and help, and the events with their words;
// it refuses a query that names a metric or a label that is not among them, and puts the help under the panel that uses it.
//
// # What a panel may say
//
// A dashboard that shows "fine" while nobody watches is worse than none. So "no alarm" is said only of a state that is younger than five
// minutes, a danger that is not judged is shown beside it, a shed that stopped answering stays for a day as "no answer", and what is empty
// says so in words that promise nothing. States have words as well as colours.
//
// # Degrees
//
// Everything is stored in °C. The variable degrees is 1.8 for °F and 1 for °C, and (x + 40) * degrees - 40 serves both, for -40 is the same on
// both scales; limits pass through it as curves do. Grafana puts no variable into a unit, so titles and headers carry °F or °C.
//
// # Colours
//
// Okabe & Ito 2008, Color Universal Design. Lines use the four of them that reach 3:1 on white as on Grafana's dark ground; where there are more
// curves than that, they are shades of one colour and are told apart by their names.
package grafana
