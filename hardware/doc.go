// Package hardware is where the program meets the board it runs on: what it tells the service manager, so that a daemon that
// hangs is restarted. Wiring, parts, power, safety, the service unit and the checks that only a bench can do are described in
// the files beside it.
package hardware
