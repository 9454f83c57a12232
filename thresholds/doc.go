// Package thresholds decides. It is the domain in the middle of nestmon: readings and the litter book go in, events and a
// Snapshot come out, and everything else only carries them.
//
// A Rabbitry is fed by Observe with the screened readings of one poll. It knows no file, no bus, no clock and no goroutine:
// time is the time of the poll, so the same readings, litter book and start give the same events, byte for byte. That is what
// makes a replay and the tests exact. What it remembers can be saved and loaded, which makes a restart exact. Once a minute of
// that time each nest takes a step (package nest), however often it is polled.
//
// Where data are missing nothing is taken for normal: a rule without inputs holds what it said, what cannot be judged is
// listed as such, and silence is an alarm of its own. Temperatures are °C, humidity % RH over water, CO2 ppm, a battery V and A.
package thresholds
