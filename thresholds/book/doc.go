// Package book is the litter book: what people write down about does, litters and nests, and what follows from it.
//
// An Entry is one thing that happened. Entries are only ever added: a correction is a new entry that stands in for an earlier one, a
// strike one that takes it back, and both keep it. A Record is one litter as the entries in force make it: where it lay and when, how
// many kits live, how it ended. With adds entries all or none, and refuses what cannot be true with the reason.
//
// The book knows days better than hours: whoever writes in the evening what was found in the morning gives a day. So everything is
// ordered by local day first, and within a day as a litter's life goes: bred, kindled, lost, moved, weaned.
package book
