// Package ical writes the chores as an iCalendar file (RFC 5545, with RFC 7986's name and interval), so that a phone's own calendar shows
// them. It knows no network and no clock: tasks, the time and what was written before come in, bytes go out.
//
// # What is an event
//
// Every task is one event of whole days, by the site's own dates, that takes nobody's time (TRANSPARENT) and has no alarm: what must be told
// is told by the alarms' own ways, and a phone rings for whole days at midnight.
//
//   - A task that comes lies on the day from which it is due. Where it grows late within a week, it lies on every day until then.
//   - A task that is still not done after its days lies on today, and its title says since when. It moves each midnight: an event of last
//     Tuesday is seen by nobody.
//   - A done one lies on the day on which it was done, with "done:" before it, for as long as the agenda lists it, so that a second person sees
//     that it needs no doing. After that it goes: the litter book is the record, not a phone.
//   - What comes every day for several nests is one event a day for all of them, today and the week after: one line in a day, and not sixty.
//     It can be left out.
//
// # What makes a phone see a change
//
// An event keeps its UID from when it is first written until it leaves the file, also while its day moves and when it is done. SEQUENCE rises,
// and LAST-MODIFIED and DTSTAMP become the time of writing, whenever anything of it changed, and never otherwise: the same chores make the
// same bytes, and a phone that asks again is told that nothing changed. Past remembers that, and its owner keeps it over restarts. Where it
// is lost SEQUENCE still does not fall: it counts minutes.
//
// # The library
//
// Folding and escaping are github.com/arran4/golang-ical's. Of the Go libraries it is the one that folds, at 75 octets and between
// characters; emersion/go-ical leaves lines as long as they are, by decision. What is known of it is met here: it ends lines with LF unless
// told otherwise, and lets control characters and broken UTF-8 through (its folding miscounts the latter), so plain takes them out before.
package ical
