// Package w1 reads DS18B20 probes through the kernel's 1-Wire files, /sys/bus/w1/devices/28-xxxxxxxxxxxx/w1_slave.
//
// That file shows the nine bytes of the chip's scratchpad, so everything that could be a failure in the dress of a
// temperature is checked here, on the bytes: the kernel's own "YES" and "t=" are not looked at. A data line held down by
// water or a gnawed cable gives nine zero bytes whose checksum is right and which the kernel prints as 0 °C; a chip that
// lost its supply gives 85 °C.
//
// One read is one conversion, about 0.77 s at 12 bit, during which the kernel holds the bus: twenty probes are a poll of
// over 15 s. Reads are serial on purpose, parallel ones gain nothing on three-wire supply and gave false values on some
// kernels. No privilege is needed.
//
// Resolution 1/16 °C; accuracy ±0.5 °C (from memory of the DS18B20 datasheet), clones up to 3 °C
// (cpetrich/counterfeit_DS18B20, 2019): put every probe in an ice bath once. Parasite power is not supported: three wires.
package w1
