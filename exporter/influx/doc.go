// Package influx writes every reading of the archive to InfluxDB by the v2 write path (InfluxDB 1.8, 2, 3 and others that
// take line protocol at /api/v2/write).
//
// # What is written
//
// One line for each probe and second, in precision s:
//
//	nestmon,nest=a1,probe=a1-air,role=air,site=home humidity=55.2,temperature=21.07 1768651200
//
// The measurement is nestmon. Tags say where: site, probe, and nest and role where the probe has them. Fields are always
// floats: temperature in °C, humidity in % over water, co2 in ppm, voltage in V, current in A. A quantity without a usable value has no field. The same
// poll always gives the same bytes, so that sending it twice changes nothing on servers where the same series and time
// overwrite; VictoriaMetrics needs -dedup.minScrapeInterval=1ms for that.
//
// Readings taken before the board's clock could be trusted are not written: their times are wrong, and a wrong time stays in
// a time series for ever. They stay in the archive.
//
// # What counts as written
//
// Only the answer 204. A captive portal's 200 with a page, a redirect to a login, and a lost reply all mean: not written, try
// again.
//
//	0 (no answer), 408, 429, 5xx, any other answer   kept, tried again with a back-off, Retry-After believed
//	401, 403, 404 and 4xx not named here             kept, tried again every 5 min, the error says what to check
//	a certificate that cannot be believed            kept, tried again with a back-off, the error says what to check
//	413                                              sent again in halves; for a single line as 404
//	400, 422 of a server of this protocol            halved down to the lines to blame; those are refused, the rest is kept
//	400, 422 of anybody else                         as 404: a port that wants TLS says 400 too, to every line there is
//
// Unknown 4xx answers are kept rather than set aside, because they speak of the address or of a proxy and would refuse every
// line there is. Where a server says that it dropped all lines of a request (influxd 1.8.3 does, of a field of another type and of
// points beyond retention), it is believed at once: weeks that a bucket no longer keeps cost some requests, not two a line.
//
// What is refused stays in the archive, and the archive lists it by reason: nestmon export --refused. Mended, the range is sent again with
// nestmon backfill.
//
// # Setting a server up
//
// Nothing here makes a database or a bucket; a write to one that is not there is refused with 404.
//
//	1.8      CREATE DATABASE rabbitry; CREATE USER nestmon WITH PASSWORD '…'; GRANT WRITE ON rabbitry TO nestmon (auth-enabled = true).
//	         bucket: rabbitry, or rabbitry/POLICY for another retention policy than the default; token: nestmon:PASSWORD; org: ignored.
//	         1.7 and older have no /api/v2/write.
//	2        a bucket, and an API token with the right to write to that bucket alone. org: its name.
//	3        a database and a token that may write to it; org is ignored. No field and tag may share a name, and none do.
//	others   VictoriaMetrics ignores org, bucket and token; put a proxy with a password before it. -retentionPeriod as below, and
//	         -dedup.minScrapeInterval=1ms.
//
// Retention must be longer than the longest outage to bridge, and than the past that is to be sent again: what is older is refused.
// 1.8.3 and VictoriaMetrics 1.79.5 are what the tests run; 2 and 3 are by their documentation, and were not run.
//
// # Speed
//
// The week of thirty nests, 1,814,400 readings in 1,209,600 lines, goes into an influxd on loopback in 1.0 to 2.2 times what a bare client
// takes for the same lines out of memory (tests/bench, five runs on two cores with a load of 7 to 15: 8 to 12 s).
//
// # Limits
//
// On InfluxDB 3 an overwritten point "is not reliable" by its own documentation, which
// is harmless here because repetitions are identical; it was not run against one. Writes go through the blocking interface of
// the client library only: its other one loses data without an error.
package influx
