// Package sensors is where probes become readings.
//
// A Source is one bus with its probes. The Poller gives every Source a worker of its own, so that a cable bitten through in
// one row, which may leave the kernel waiting for ever, silences that row and no other. What comes back is complete:
// one Reading for each probe and quantity, a value or the reason why there is none; only a probe that speaks by itself is
// left out between its messages, while it is not late. Absence travels the same way as a value and nothing downstream has
// to guess.
//
// The subpackages are the sources (w1, onewire, kernel, i2c, radio, recorded, simulated) and the screen, which every reading passes once before
// it is judged. They know this package and never each other, except that w1 and onewire let ds18b20 judge the bytes of the one chip both
// read, and that radio reaches its broker by package broker, as the sink that publishes does; sourcetest holds the suite every source must pass.
//
// Units: °C, % relative humidity over water, ppm; instants carry the monotonic clock where they were measured here.
// Sources are bound to hardware identity (ROM number, device path), never to the order of discovery. Which probe hangs in
// which nest nobody can measure: two swapped cables give true values of the wrong nest.
package sensors
