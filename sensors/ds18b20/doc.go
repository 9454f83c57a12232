// Package ds18b20 judges the bytes of a DS18B20, whatever brought them: the kernel's files (w1), or a bus of our own (onewire).
//
// Everything that could be a failure in the dress of a temperature is found here, on the nine bytes of the scratchpad: the power-on
// value, the code of a failed conversion, a line held low, whose nine zero bytes have a right checksum, a clone that was not announced.
package ds18b20
