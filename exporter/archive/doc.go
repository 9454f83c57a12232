// Package archive is the store every other sink reads from: two SQLite files (modernc.org/sqlite, no C compiler) in the data folder.
//
// readings.db holds what was measured. A poll is one row: its key and an int16 for each series, in steps of the series' scale
// (0.01 °C, 0.01 % RH, 1 ppm, 0.01 V, 0.01 A), the lowest number meaning that there is no value. A value that does not fit is stored as absent
// and counted, never wrapped. A layout names the series behind the columns, and every row names its layout, so probes may
// come, go and change places. Beside the polls stand hourly counts, minima, means and maxima, the hourly means of temperatures once more by the
// week, the sinks' cursors, and what sinks refused for good. book.db holds what people and alarms need: litter book, events, what was done about
// them, standing alarms, messages, keys of what phones sent.
// Beside them lies the file state, what the decisions remember: replaced whole, and no loss where it is missing, for the readings
// are looked at again instead.
//
// # Times and keys
//
// A poll's key is its time in unix seconds, or one more than the last key where the clock stood still or went back; the true
// time is then kept beside it, to the millisecond. So keys rise, whatever the clock does, and need no second index. All
// values of a poll come back with the time of the poll, some seconds after the probe converted; the fraction of its second is
// not kept, nor is the mark Suspect. A value that was stored before, or is older than its probe's limit, is absent.
//
// A poll of before the board's clock was known is marked, and kept with how long the board had been up. Once the clock is known, polls of the same boot
// are given their true times in one transaction and enter the hours; Options.Placed hears of it. What a boot stored that ended before stays marked.
//
// Readings of before the archive begins can be added later (PutOlder). Their keys are their times, lower than all that were given, and their
// layout comes before the first; what the archive has of its own, by the poll or by the hour, is never mixed with them.
//
// # What survives what
//
// Each file takes all of a poll or nothing, the book first. The book is durable when a call returns (synchronous=FULL).
// Readings are synced once a minute (NORMAL, and FULL for the first poll after each minute): killing the process loses nothing, a
// power cut at most that minute and the poll under way; the rest stays whole (tests/kills, on a disk that forgets what was not synced). A
// cursor is written every tenth poll and lies in the same file as the polls, so it never outlives them. After an error of
// the disk the next Commit tries anew.
//
// Where Options say Regardless, an archive that cannot be written when it is opened is read as it lies, its log too; what cannot be read is empty, and Unread tells it
// of the book. Every write is refused with the reason, and tries the card first: once that takes a file, all goes on as after an ordinary start; where the book is unread
// only another process may, and ErrAnew says so. What came
// meanwhile is not made up for but by its owner's next Commit. A newer schema stays an error, and so does a second process, which a lock for reading keeps out.
//
// A damaged file is renamed to NAME.broken-DATE, never deleted, and a new one begun, at the start or while running; SetAside
// names it. While running the litter book is written into the new one with the next write, for its owner still has it. SQLite's quick_check runs at every start (0.2 s for 57 MB here). It proves the structure: a bit that
// flips inside a packed value is not seen. A file of a newer schema is an error and is not touched.
//
// Polls are removed when they are both older than Options.RawFor and more than it holds, a thousand or so an hour, so that a
// clock that leaps does not empty the archive; whatever the clock says, twice that number is the end. What a sink had not
// delivered by then is counted, logged and told. What a sink refused for good is kept as ranges of polls with one reason each, at most
// a thousand, until the range was sent again.
//
// # Writing little
//
// Cards wear out by what is written. Measured on ext4, 2,880 polls of 30 s, MB a day, one insert a poll and nothing else;
// 'given' to write calls, and 'spaced', where everything reaches the disk between two polls, as it does at 30 s:
//
//	page size   90 series: given  spaced, -shm file  spaced, none   12 series: given  spaced, none
//	      512                4.1               48.5          15.9                1.9          13.6
//	     1024                4.9               42.9          16.5                3.4          15.1
//	     2048                7.7               44.1          19.4                6.3          18.0
//	     4096               13.6               49.6          25.4               12.2          23.8
//
// Hence pages of 1024 bytes (512 read more slowly), and hence no -shm file: SQLite's index of the log is a mapped file that the
// kernel writes back after every poll, 26 MB a day that a run without pauses does not show. The vfs unix-excl keeps it in
// memory. That locks other processes out, a second daemon among them, so ReadOnly copies. The log is moved into the file every
// 1000 pages, some three times a day; 250 or 4000 changed the sums by less than 3 %.
//
// The whole archive with 24 events and messages a day and a sink's cursor (tests/bench, MB a day): 90 series 5.5 given, 17.5
// spaced; 12 series 4.0 and 15.8. A row for each sample and series: 1,455 given and 1,290 spaced; 173 and 212. Left alone
// at a real 30 s for 24 polls, without events: 16.7 and 14.8. Nearly all of that is one 4 KiB page of the log a poll, 12 MB a
// day, the least there is without holding polls back. The file system's own journal comes on top.
//
// The state is packed and synced each time: for the five nests of the demonstration at most 11 kB, every quarter of an hour, which is
// 1 MB a day; for thirty nests 5 MB (tests/bench).
//
// # Holding little
//
// SQLite is built so that all connections of a process share the sum of their caches, whichever fills it; a temporary database, which a connection that writes
// opens by itself, adds 2000 KiB to it unless it is told otherwise. A cached page of 1 KiB takes 2 KiB of memory, and what was taken once is kept. So
// the process grew for weeks, to an allowance of 6.5 MB that nobody had asked for. The allowance is small now; what falls out of it the kernel still has. Graphs and
// card writes are as before (tests/bench), and tests/soak shows what is held.
//
// A week's graph of one probe among 90 series in 500 points takes 10 to 13 ms here, from hourly rows 0.3 ms. Four lines in one pass take less than a
// third of what they take one after the other. Buckets of whole UTC days are made of days that are kept in memory once they were asked for: two
// years of four lines are then 400 times as fast as from hourly rows (tests/bench). Ninety days of 90 series are 57 MB.
package archive
