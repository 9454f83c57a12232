package archive

// kind is what differs between the two files.
type kind struct {
	name        string
	synchronous string   // FULL is durable when a transaction ends; NORMAL may lose the newest at a power cut, never more
	steps       []string // step i brings the schema from version i to i+1; released steps are never edited
}

// applicationID marks a database file as nestmon's ("nest" in ASCII), at offset 68 of its header.
const applicationID = 0x6e657374

var readingsFile = kind{name: "readings.db", synchronous: "NORMAL", steps: []string{`
CREATE TABLE series (
	id INTEGER PRIMARY KEY,
	probe TEXT NOT NULL,
	quantity TEXT NOT NULL,
	scale REAL NOT NULL, -- units per step
	UNIQUE (probe, quantity, scale)
);
CREATE TABLE layouts (
	id INTEGER PRIMARY KEY,
	since INTEGER NOT NULL, -- key of its first poll; valid up to the next layout's
	series TEXT NOT NULL    -- ids in the order of the columns of v, separated by commas
);
CREATE TABLE polls (
	key INTEGER PRIMARY KEY, -- unix seconds, or one more than the last
	at INTEGER,              -- unix ms where the true time is another
	unsynced INTEGER NOT NULL,
	layout INTEGER NOT NULL,
	v BLOB NOT NULL          -- an int16, big endian, for each series; the lowest means no value
);
CREATE INDEX polls_at ON polls (at) WHERE at IS NOT NULL;
CREATE TABLE hours (
	hour INTEGER PRIMARY KEY, -- unix seconds of its beginning
	v BLOB NOT NULL           -- records of series id, count, min, max, mean
);
CREATE TABLE rolled (key INTEGER NOT NULL); -- polls up to it are in hours
INSERT INTO rolled VALUES (0);
CREATE TABLE cursors (name TEXT PRIMARY KEY, key INTEGER NOT NULL) WITHOUT ROWID;
CREATE TABLE dead (
	id INTEGER PRIMARY KEY,
	sink TEXT NOT NULL,
	key INTEGER NOT NULL,
	at INTEGER NOT NULL,
	reason TEXT NOT NULL
);
`, `
CREATE TABLE refusals (
	id INTEGER PRIMARY KEY,
	sink TEXT NOT NULL,
	reason TEXT NOT NULL,
	since INTEGER NOT NULL, -- unix ms of its first and last poll
	until INTEGER NOT NULL,
	polls INTEGER NOT NULL,
	readings INTEGER NOT NULL,
	series TEXT NOT NULL,   -- a JSON list of "PROBE QUANTITY"
	seen INTEGER NOT NULL   -- unix ms of the last refusal
);
INSERT INTO refusals (sink, reason, since, until, polls, readings, series, seen) SELECT sink, reason, at, at, 1, 0, '[]', at FROM dead;
DROP TABLE dead;
`, `
CREATE TABLE weeks (
	week INTEGER PRIMARY KEY, -- of unix time, from 0
	v BLOB NOT NULL           -- the means of its hours: see weeks.go
);
CREATE TRIGGER hour_added AFTER INSERT ON hours BEGIN DELETE FROM weeks WHERE week = new.hour / 604800; END;
CREATE TRIGGER hour_removed AFTER DELETE ON hours BEGIN DELETE FROM weeks WHERE week = old.hour / 604800; END;
`, `
CREATE TABLE unplaced (
	key INTEGER PRIMARY KEY, -- of a poll stored before the clock was known
	boot TEXT NOT NULL,
	up INTEGER NOT NULL      -- ms from that boot to the poll
);
`}}

var bookFile = kind{name: "book.db", synchronous: full, steps: []string{`
CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE events (
	seq INTEGER PRIMARY KEY,
	at INTEGER NOT NULL,
	nest TEXT NOT NULL,
	name TEXT NOT NULL,
	probe TEXT NOT NULL,
	state TEXT NOT NULL,
	severity INTEGER NOT NULL,
	body TEXT NOT NULL, -- too long for an index tree, where it would take a page of its own
	UNIQUE (at, nest, name, probe, state, severity)
);
CREATE TABLE standing (place INTEGER PRIMARY KEY, body TEXT NOT NULL);
CREATE TABLE messages (
	seq INTEGER PRIMARY KEY AUTOINCREMENT,
	id TEXT NOT NULL UNIQUE,
	after INTEGER NOT NULL, -- unix ms, 0 for at once
	severity INTEGER NOT NULL,
	body TEXT NOT NULL
);
CREATE TABLE waiting (channel TEXT NOT NULL, seq INTEGER NOT NULL, PRIMARY KEY (channel, seq)) WITHOUT ROWID;
CREATE TABLE refused (
	seq INTEGER PRIMARY KEY,
	channel TEXT NOT NULL,
	id TEXT NOT NULL,
	at INTEGER NOT NULL,
	reason TEXT NOT NULL
);
CREATE TABLE litters (
	id INTEGER PRIMARY KEY AUTOINCREMENT,
	nest TEXT NOT NULL,
	bred INTEGER, kindled INTEGER, ended INTEGER, -- unix ms
	born INTEGER NOT NULL
);
CREATE TABLE litters_before (
	id INTEGER NOT NULL,
	nest TEXT NOT NULL,
	bred INTEGER, kindled INTEGER, ended INTEGER,
	born INTEGER NOT NULL,
	replaced INTEGER NOT NULL
);
CREATE TABLE marks (nest TEXT NOT NULL, event TEXT NOT NULL, at INTEGER NOT NULL, PRIMARY KEY (nest, event, at)) WITHOUT ROWID;
`, `
CREATE TABLE acts (
	seq INTEGER PRIMARY KEY,
	at INTEGER NOT NULL, -- unix ms
	nest TEXT NOT NULL,
	event TEXT NOT NULL, -- empty for every alarm of the nest
	action TEXT NOT NULL,
	by TEXT NOT NULL,
	body TEXT NOT NULL,
	UNIQUE (at, nest, event, action, by)
);
-- Before this, who had seen what was not kept: an alarm of an earlier day without an act proves nothing.
INSERT OR IGNORE INTO meta VALUES ('acts.since', strftime('%Y-%m-%dT%H:%M:%SZ', 'now'));
`, `
CREATE TABLE entries (
	id INTEGER PRIMARY KEY,
	litter INTEGER NOT NULL, -- 0 where it is about a nest or the site
	at INTEGER NOT NULL,     -- unix ms of when it happened
	nest TEXT NOT NULL,
	what TEXT NOT NULL,
	body TEXT NOT NULL       -- the whole entry, JSON
);
-- What was kept in columns before becomes entries. What had been corrected becomes notes.
WITH old AS (
	SELECT id AS litter, 1 AS place, 'bred' AS what, bred AS at, nest, NULL AS kits, NULL AS chore, NULL AS note FROM litters WHERE bred NOTNULL
	UNION ALL SELECT id, 2, 'kindled', kindled, nest, nullif(born, 0), NULL, NULL FROM litters WHERE kindled NOTNULL
	UNION ALL SELECT id, 3, iif(kindled ISNULL, 'did-not-kindle', 'ended'), ended, nest, NULL, NULL, NULL FROM litters WHERE ended NOTNULL
	UNION ALL SELECT id, 4, 'noted', replaced, nest, NULL, NULL, 'corrected; the book said before: nest ' || nest
			|| ', bred ' || coalesce(date(bred / 1000, 'unixepoch'), 'not entered') || ', kindled ' || coalesce(date(kindled / 1000, 'unixepoch'), 'not entered')
			|| ', born ' || born || ', ended ' || coalesce(date(ended / 1000, 'unixepoch'), 'not entered') FROM litters_before
	UNION ALL SELECT 0, 5, 'did', at, nest, NULL, event, NULL FROM marks
), numbered AS (SELECT row_number() OVER (ORDER BY litter = 0, litter, place, at, nest) AS id, * FROM old)
INSERT INTO entries SELECT id, litter, at, nest, what, json_object('id', id, 'litter', litter, 'what', what,
	'at', strftime('%Y-%m-%dT%H:%M:%fZ', at / 1000.0, 'unixepoch'), 'nest', nest, 'kits', kits, 'chore', chore, 'note', note,
	'entered', strftime('%Y-%m-%dT%H:%M:%SZ', 'now')) FROM numbered;
DROP TABLE litters;
DROP TABLE litters_before;
DROP TABLE marks;
`, `
CREATE TABLE sends (
	seq INTEGER PRIMARY KEY,
	key TEXT NOT NULL UNIQUE, -- random, made by who sent it
	body TEXT NOT NULL        -- what it was and what became of it, JSON
);
`}}
