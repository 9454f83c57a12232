package hardware

// ClockSetBy is ClockSet with what the kernel says.
var ClockSetBy = clockSet
