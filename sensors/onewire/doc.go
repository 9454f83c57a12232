// Package onewire reads DS18B20 probes on a 1-Wire bus of our own: through the kernel's netlink (`bus: w1-1`), or through a DS2482
// bridge on I2C (`bus: i2c-1/0x18`), which drives long lines better than a pin of the board does.
//
// It is for many probes. The kernel's files (package w1) cost 0.77 s a probe; here one Convert T is heard by all of a line, and a poll
// is one conversion and some 20 ms for each scratchpad: twenty probes in less than two seconds. Every line is opened anew for each
// burst of messages and closed after it, because neither way bears an error well: one lost netlink message spoils every later answer of
// its socket, one failed I2C transaction every later call of the bridge's driver, and a bridge that lost its supply forgets its settings.
//
// A chip is asked by its number, and its nine bytes are judged by ds18b20, as those of w1 are. What no byte shows, and what is
// therefore accepted:
//
//   - Nobody acknowledges a Convert T. A chip that did not hear it, or needs longer than Conversion, answers with its last conversion.
//   - A clone of family D that lost its supply after the Convert T answers 25.0 °C or its last reading. Package screen drops 25.0
//     where it is the first value after a silence and the probe says `clone: d`.
//
// Three wires: a probe without its supply wire never converts properly here, and shows it by 85 °C. Nothing is ever copied to a
// chip's EEPROM. A chip that is set to less than 12 bit is set to 12 until it next loses its supply.
//
// Two programs on one bridge would read each other's answers, so each locks it for its burst; nestmon's own commands and daemon do.
// The kernel's w1_therm on the same master, and its ds2482 on the same bridge, cannot be kept out: Check says how to unload them.
package onewire
