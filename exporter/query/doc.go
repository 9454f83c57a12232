// Package query answers a graphing tool from the archive by Prometheus's HTTP API, so that it reads nestmon with no server in between.
//
//	GET, POST /api/v1/query            an expression at an instant
//	GET, POST /api/v1/query_range      an expression at the steps of a span
//	GET, POST /api/v1/series           what there is, by match[]
//	GET, POST /api/v1/labels           names of labels, by match[]
//	GET, POST /api/v1/label/NAME/values
//	GET, POST /api/v1/metadata         what each metric is
//	GET, POST /api/v1/status/buildinfo
//
// Answers and errors have the form of that API (Prometheus's documentation, "HTTP API"): {"status":"success","data":…}, and
// {"status":"error","errorType","error"} with 400 for a request that is wrong, 422 for an expression that cannot be worked out, 503 for one that took
// too long, and 404 for what there is not. In one thing it differs: a function that does not exist is 422 here, 400 there.
//
// Expressions are worked out by Prometheus's own engine, which takes megabytes: it is built in with -tags promql, and without it query and
// query_range say so with 501. Everything else answers in both builds.
//
// # What there is
//
// The readings in the archive under the names and labels of package metrics: each probe's temperature, humidity, carbon dioxide, voltage and
// current, by nest, role and probe. A probe is where the configuration puts it today, in the past too; one that is configured no more has
// neither nest nor role. The label site is site.id, as a scrape is to be given it. Everything else that /metrics shows says how things stand now
// or counts from a start; it is not archived, and so is absent here: alarms, limits, what is judged, litters, doubts, sinks, buses, the program.
//
// # Samples
//
// While polls are kept each is a sample at its time. Before that, and where the step is an hour or longer (and the range of a range selector
// too), an hour is one sample at the hour's end, because what is said at an instant may know only what came before it: it is the mean of the
// hour that has passed, as avg_over_time(…[1h]) gives there. max_over_time takes the highest of each hour and min_over_time the lowest, so these
// are exact. count_over_time counts hours there, and quantiles are those of hourly means.
//
// A value lives as long as the daemon would call it fresh, its probe's stale_after, and an hour's until the next hour is over. Then, unless another has come,
// a marker ends the series, as when a scrape finds it gone: so a gap stays a gap at every step, and a value an hour apart makes no gaps. The engine
// looks back as far as any value may live, and its usual five minutes decide nothing here.
//
// # Bounds
//
// Questions cost a small board time and memory, and anybody on the network may ask. One expression is worked out at a time, some wait, more are sent
// away; each has a time limit, and limits of steps, samples in memory, samples read, length, subqueries and labels it makes. Rows are read in
// batches with no transaction open in between, packed, and one block of them is held at a time. What another site's page asks is refused.
package query
