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
//	413                                              sent again in halves
//	400, 422                                         halved down to the lines to blame; those are refused, the rest is kept
//
// Unknown 4xx answers are kept rather than set aside, because they speak of the address or of a proxy and would refuse every
// line there is.
//
// # Limits
//
// A bucket is not created by writing to it. Its retention must be longer than the longest outage to bridge: what is older
// is refused line by line and set aside. On InfluxDB 3 an overwritten point "is not reliable" by its own documentation, which
// is harmless here because repetitions are identical; it was not run against one. Writes go through the blocking interface of
// the client library only: its other one loses data without an error.
package influx
