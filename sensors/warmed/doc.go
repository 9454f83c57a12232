// Package warmed finds the probe that somebody holds in the hand, among all that can be read.
//
// Each probe is held against its own course before, drawn on in a straight line, and against the others: what all do together is the
// barn's. A probe is named when it rose by more than its noise and the others explain, when a second reading says so too, and when
// every other probe was looked at since it began to rise; where another rose as well nothing is named, because a wrong name moves
// a nest's alarms to its neighbour. Twenty DS18B20 on one wire need 15 s to be read once, which is most of the time this takes.
//
// It knows no bus and no clock: readings come with their times, and Next says which probe of a bus to read next.
package warmed
