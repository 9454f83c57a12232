// Package alarm says what an alarm is: its name, severity and states, the change that becomes an event, the slot that
// remembers whether it is on, and the panel that remembers what people did about it.
//
// A rule hands its Condition to its Slot once a minute. The Slot turns changes into events: raised when the condition
// begins or grows worse, cleared when it ends. A rule whose inputs are missing says Hold: an alarm that is on stays on,
// because absence of data is never good news.
//
// Delays and deadbands belong to the rules, which know their limits. What people do about an alarm belongs to the Panel: it takes the events,
// the passing time and people's acts, gives each alarm one of seven statuses, and tells what changed. An acknowledgement falls away when the
// alarm grows worse or comes again, a shelf ends by itself, and what nobody has seen stays after its end.
package alarm
