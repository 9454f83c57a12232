// Package alarm says what an alarm is: its name, severity and states, the change that becomes an event, and the slot that
// remembers whether it is on.
//
// A rule hands its Condition to its Slot once a minute. The Slot turns changes into events: raised when the condition
// begins or grows worse, cleared when it ends. A rule whose inputs are missing says Hold: an alarm that is on stays on,
// because absence of data is never good news.
//
// Delays and deadbands belong to the rules, which know their limits; acknowledgement belongs here and falls away when the
// alarm grows worse or comes again.
package alarm
