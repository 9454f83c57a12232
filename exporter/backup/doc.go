// Package backup puts the archive, and what else a new card needs, into one file, and takes it out again.
//
// A backup is a tar file packed with gzip. Its first member is the manifest: what wrote it, when, of which site, and of every other member
// the size and the SHA-256 sum; of the databases also their schemas and the rows of each table. After it come the members in the
// manifest's order, and nothing else:
//
//	manifest.json
//	book.db         litters, chores, alarms, messages, phones, logins, the keys of links (see package archive)
//	readings.db
//	state           what the decisions remember, where there is one
//	offsets.jsonl   what probes were measured to be wrong by, where there is one
//	limits.json     limits that were set on the page, where there are any
//	nestmon.yaml    the configuration as it is
//	secrets/N-NAME  files that the configuration names, only when they are asked for
//
// Write calls a backup done when it has read the file back: unpacked it elsewhere, compared the sums, let SQLite prove both databases and
// counted their rows again. Until then the file has another name.
//
// Ninety days of 90 series, 56 MB, took 4 s to back up and 2 s to restore where this was written (measured once, a fast disk). What is
// written is on the disk megabyte by megabyte: the daemon waits for the same card.
//
// Restore believes nothing: it reads the whole file before it touches anything, takes only the names above, no more bytes than the
// manifest says, and no database of a newer program. Then it unpacks into a folder beside, proves that, and lets the two folders change
// places in one step of the kernel, so that a crash leaves the old or the new. What was there stays beside it under another name.
package backup
