// Package recorded reads and writes readings files: CSV by RFC 4180 with the header
// time,probe,temperature_c,humidity_pct,co2_ppm, in any order of columns. A site with a battery has voltage_v and current_a beside them;
// they are written only where a probe measures them, so that every other file stays as it was.
//
// The format is strict, because a log that is read half-right is judged half-right: a row that goes back in time, a row said
// twice, a row without a value, a dash where a number belongs, an extra column, each is an error with file, line and column.
// A gap is an absent row. Values are not judged here; that is the screen's part, as for every source.
//
// Times are RFC 3339; a time or date without an offset is local to the location the Reader was given, a bare date its
// midnight. Readings carry UTC. Units: °C, % RH over water, ppm, V, A.
//
// The parser is written for speed, a season of a whole rabbitry in seconds: it works on the bytes of one line, remembers the
// date it read last, and takes the slow road of quotes and exponents only for the fields that need it.
package recorded
