// Package web serves the page at home: one HTTP server with the files of package dashboards and a small JSON interface, on the network
// and, through Handler, on any other listener such as the daemon's control socket.
//
// The page shows the newest exporter.State and decides nothing. Everything on the wire is in °C, % RH, ppm, seconds and RFC 3339 instants; °F
// and local time are made in the browser. Whoever reaches the address can read it: it listens on loopback unless the configuration opens
// it. With view: password only who has logged in can: every address is then behind the login, but those that tell nothing of the nests or
// carry a secret of their own; over the control socket, whose file says who may, all is shown. A file in the format of exporter-toolkit, see
// package webconfig, asks for a password or answers over TLS; every address below is then behind it.
//
// What changes something needs more: the page's own password, which opens a session of 30 days in a cookie, and a request that a page of this
// server has made. Without a password file nothing can be changed. What a person does goes to the exporter.Keeper, and the answer comes when it
// is stored. A message's link is a password of its own, for one answer: looking at it changes nothing, its button does.
//
// Readers that vanish cost nothing lasting: what one has not confirmed for 20 s ends its connection. No stream is refused; above 128 the oldest
// ends of whoever has the most. A request says how long it is and names nothing twice, or is refused.
//
// # Addresses
//
//	GET /                 the page
//	GET /static/HASH/…    its files; HASH changes with their content, so they are cached for a year
//	GET /api/state        the newest state, one JSON object, 503 while there is none
//	GET /api/series       ?probe=&quantity=temperature&from=&to=&buckets=288; a day up to now where from and to are absent
//	GET /api/events       ?from=&to=&max=200, newest of the span; a day up to now where from and to are absent
//	GET /api/nest         ?nest=&from=&to=&buckets=288&marks=100, or by=hour|day|week in place of buckets: all that a graph of a nest shows
//	GET /api/broods       the litters that can be looked at by age, the newest first
//	GET /api/journal      ?from=&to=&max=100&nest=&kind=, the newest of what was raised and what people did: see below
//	GET /api/calls        {contacts: [{name, channels: [{name, at_least}]}], repeat_s, escalate_after, quiet_from, quiet_to, quiet_holds, all_well}: who is called
//	GET /api/quality      ?days=28; {days, nest_weeks, few, figures: [{what, here, aim, source}], advice: ["…"]}
//	GET /api/probes       {doing: warm|ice or empty, probes: [{probe, nest|null, role|null, bus|null, source, identity, chip|null, watched, no_ice|null, only|null, raises: [EVENT], waiting|null}]}
//	GET /api/probes/work  server-sent events "work", until it is over: {over, warm|null, ice|null} as the types of these names have it; needs a session
//	GET /api/stream       server-sent events: "state" with the object of /api/state, "beat" when there is nothing new
//	GET /api/push/key     {key|null, phones: [{id, label, agent, since, last_ok|null, gone|null}]}: what a browser must be given to sign up for messages, and who has
//	POST /api/push/…      subscribe {endpoint, p256dh, auth, label, agent, replaces}, unsubscribe and test {endpoint} or {id}; behind the door
//	GET /api/settings     what is in force and where each number comes from: Settings
//	GET /api/settings/preview   how far the look back is, and what came of it: Preview
//	GET /healthz          200 while states arrive, 503 with the reason when they do not
//	GET /api/agenda       ?days=14; {time, tasks: [{nest|null, litter|null, event, state: overdue|today|coming|done, from, late|null, until|null, done|null, entry|null, daily,
//	                      text, rule, source}]}; entry is the one that shows it was done
//	GET /api/book         {time, newest, nests: [{nest, kind, kits|null, carried|null, indoors, looked|null}], litters: [LITTER], older, does, names}: the open litters and the
//	                      latest of the others; ?skip=N has those that come after N of the others
//	GET /api/book/forms   {whats: [{what, must, may}], fields: {NAME: {takes, help, choices, longest}}, shows: {CHORE: WHAT}, most_kits}: what can be entered
//	GET /api/book/litter/N  {litter: LITTER, story: [ENTRY], sum, partners: [LITTER]}; nest/ID and doe/NAME {litters, entries, more, sum}
//	GET /api/session      {changes, logged_in, test, closed}: what this browser can do, test where there is a way to anybody; closed where looking needs a login
//	GET /litters          the litter book's litters, each with a link to
//	GET /litter/N         the report of litter N, a page that stands alone
//	GET /answer/TOKEN     what a message was about, with a button
//	POST /answer/TOKEN    the button: it is acknowledged, once
//	GET, POST /api/v1/…   what graphing tools ask the archive, see package query
//	GET /ca.crt           the certificate of the home's own authority, as 'nestmon certificate' made it; 404 where there is none
//	GET /calendar/SECRET.ics  the chores as iCalendar (package ical), with ETag and Last-Modified; 404 where the secret is another
//
// JSON in and out, and a session save for the first two; {"ok":true} where nothing else stands:
//
//	POST /api/login        {password}
//	POST /api/logout       {}
//	POST /api/alarms/act   {action, nest, event, for_s, since, time}: action is acknowledge, shelve, unshelve, out-of-service or in-service; nest is
//	                       empty for the site, event for the whole nest; for_s of shelve, 0 for the longest; since and time of
//	                       acknowledge are the alarm's as they stood in the state: what was raised anew since is not acknowledged
//	POST /api/chores/done  {nest, event}
//	POST /api/book/enter   {key, by, entries: [{COLUMN: "text"}]}: all or none; a row with replaces changes that entry in what it says, or strikes it.
//	                       key is 128 random bits in hexadecimal digits, made when somebody pressed the button: the same again is answered as it was the first
//	                       time and changes nothing, with other content it is 409. Answers {stored: [ENTRY], doubts}, or 422 {error, row, field}. A 503 may be stored: send it again
//	POST /api/settings/limits   {revision, limits: [{place, key, from, to, limit_c|null}], by, sure}: null goes back to what counts without the page;
//	                       what would be laxer than shipped is refused unless sure
//	POST /api/settings/preview  {revision, limits}; works in the background. POST /api/settings/preview/stop {} ends it
//	POST /api/alarms/test  {channel}, empty for all; answers {channels: {NAME: what went wrong, empty where it arrived}}
//
//	POST /api/probes/warm  {}: begins to watch for the probe that is warmed in a hand
//	POST /api/probes/ice   {probe, sure}: begins to compare a probe with melting ice; 409 where it asks whether that is sure
//	POST /api/probes/end   {}: ends either
//
// A request that cannot be answered gets {"error": "…"} in plain words.
//
// # The state
//
//	seq              counts the states of one run; of two with the same started, the higher is the newer
//	published_ago_s  how long ago, by this machine's own clock, the daemon last handed over a state: the page is as old as this,
//	                 whatever "time" says
//	time             the instant the state describes; in a demonstration this is simulated time
//	version, started, clock_synced, page (the HASH of the page's files)
//	site             {name, display: fahrenheit|celsius, timezone, old_after_s}; a state published longer ago than old_after_s is old
//	season           winter, mild, summer
//	outside          {values: [VALUE], thi_c|null}
//	battery          {values: [VALUE]}: none where nothing measures one
//	nests            [{id, kind, stage, age_days|null, litter: {bred|null, kindled|null, born|null, ended|null}|null, values: [VALUE],
//	                 core_c|null, limits: {cluster_cold_c, cluster_hot_c, air_cold_c, air_hot_c, air_hot_urgent_c; null when not in force},
//	                 severity, judged: [{danger, judged, why}],
//	                 learned: {nights, warm_empty_k, warm_kits_k, follows_min, share, day_share, day_late_h, over_neighbours_k: FIGURE|null, text: ["…"]},
//	                 next: {event, state: overdue|today|coming, from, late|null}|null, past_limit: {where: above|below, urgent}|null}];
//	                 next is the chore that comes first; past_limit where a limit in force is passed of which no alarm of the nest tells
//	alarms           [{nest|null, event, chore, alarm, severity, since, time, value|null, limit|null, unit|null, probe|null, text, rule|null,
//	                 source|null, acknowledged|null, status, by|null, until|null, over|null, because|null, first, latched,
//	                 longest_shelf_s}], the most severe first; a chore from warning up is an alarm too; rule is what was compared with what for how long, source
//	                 where the limit comes from, both null in what stands since an older release
//	quiet            the same of what is not on and not normal: over and not seen, shelved, suppressed, out of service
//	probes           [{probe, fresh, reads, rejected: {FAULT: n}, last_good|null, last_fault|null, fault_at|null, error_ratio|null of about the
//	                 last hour, values: [{quantity, unit, value|null, fault|null, time}] as they came last, however old,
//	                 doubts: [silent|fault|odd|swapped|scale|drifting|wet|failing], offset: {temperature_c, humidity_pct, date, method}|null: it is in all values}]
//	buses            [{bus, up, hung_s, took_s, restarts}]
//	sinks            [{sink, ok, since|null, last_ok|null, error, misconfigured, sent, failed, pending, oldest|null, refused, refused_why|null,
//	                 pruned, backfill: {from, to, polls, sent, refused, ended|null, stopped}|null}]; sent, failed, refused (for good) and pending
//	                 count readings or messages, pruned polls that grew too old in the archive before they were sent
//
//	nobody_called    whether an alarm calls nobody: there is no channel, or only one on which no phone has signed up
//
//	LITTER           a litter as 'nestmon litter list --json' has it, with steps that can be entered next, noticed|null (a kindling nobody entered), report
//	ENTRY            {id, litter, what, at, day, nest, said, by, entered, replaces, replaced_by, row: {COLUMN: "text"}}
//	VALUE            {role, probe, quantity, unit, value|null, time|null, age_s|null, fresh}
//	FIGURE           {value, error, n}: error is half of the 95 % interval, n the nights or days it was learned from; null while not known
//
// A value is null unless it is fresh: a stale value is no value. Ages count back from the state's own time.
//
// # The journal
//
//	{from, to, entries: [{kind: alarm|chore|noted|act, time, nest|null, event, state|null, severity|null, since|null, value|null, limit|null, unit|null,
//	probe|null, text|null, rule|null, source|null, action|null, by|null, for_s|null, limits}], earlier|null}
//
// limits are those that somebody changed, as in the settings' changes; of an older change text alone tells.
// Entries are in the order of time. nest is one of the state's, or - for what concerns none; event is empty where every alarm of the nest is meant. Where
// there is more, earlier is the to of the next question; an answer may then hold fewer entries than were asked for, or none.
//
// # The series
//
//	{probe, quantity, unit, from, to, step_s, gap_s, points: [[unix_s, min, mean, max], …]}
//
// Buckets without a reading are absent. Two points further apart than gap_s have a gap between them, and no line may be drawn across it.
//
// # One nest over a span
//
//	{nest, from, to, step_s, first|null, fine_from|null,
//	 lines: [{role, probe, quantity, unit, gap_s, runs: [first, n, …], mean: […], low: […], high: […]}],
//	 limits: [{from, to, litter, day, last_day, proposed, day_only, season, cluster_cold_c|null, … as in the state}], limits_left,
//	 marks: [{at, until, on, day, kind, site, event, severity, what, litter, value, limit, unit, probe, text, rule, source, by}],
//	 marks_left: {kinds: {KIND: n}, unread}}
//
// Buckets are of step_s each, counted from the epoch, so that they stay where they are when the span is moved; from and to are the edges of the
// outermost. By the hour, day or week they are local ones, and "starts" holds the unix seconds of each in place of step_s. A line is columns of whole
// hundredths: runs says which buckets have a value, low and high how far the lowest lies under the mean and the highest over it; both are absent
// where they are all 0. Before fine_from, and where step_s is an hour or more, values are of whole hours.
//
// What is absent of limits and marks does not apply. Limits are those of package past: by the age the kits had then, by the book and the configuration
// as they are now; proposed and day_only say how well the birth is known. More than 400 of them are left out, all of them, and counted. Marks are
// chosen by their kind (past.Kinds) and then the newest; what was left out is counted, and so are events that were not even looked at.
// Two years of a nest are 17 kB, 1.6 kB as sent to a browser that takes gzip; a week is 11 kB and 4.4 kB.
package web
