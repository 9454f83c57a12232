package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"nestmon/exporter/archive"
)

// backupNote is the file beside the archive in which 'nestmon backup' leaves word of the last one that was whole: nobody else knows where people
// keep theirs. It is no part of a backup.
const backupNote = "backup.json"

// lastBackup is what stands there.
type lastBackup struct {
	Time  time.Time `json:"time"`
	File  string    `json:"file"`
	Bytes int64     `json:"bytes"`
}

// largestNote is far more than is ever written there, in bytes.
const largestNote = 64 << 10

// noteBackup leaves word of a backup beside the archive.
func noteBackup(data string, b lastBackup) error {
	err := replaceFile(filepath.Join(data, backupNote), func(w io.Writer) error { return json.NewEncoder(w).Encode(b) })
	if err != nil {
		return fmt.Errorf("the backup is good, but 'nestmon doctor' will not know of it: %w; run it as the user nestmon or with sudo", err)
	}
	return nil
}

func readBackupNote(data string) (b lastBackup, err error) {
	f, err := os.Open(filepath.Join(data, backupNote))
	if err != nil {
		return b, err
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, largestNote))
	if err == nil {
		err = json.Unmarshal(text, &b)
	}
	if err == nil && b.Time.IsZero() {
		err = errors.New("it holds no time")
	}
	return b, err
}

// oldBackup is when a backup is too old: one a night is advised, and a week of failures is noticed by nobody otherwise. Ours, no source.
const oldBackup = 8 * 24 * time.Hour

func examineBackup(_ context.Context, p *patient) []sign {
	const remedy = "let root's crontab make one every night, to another machine: README, Back up"
	b, err := readBackupNote(p.cfg.Data)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return []sign{lookAt(remedy, "no backup is known: when the card dies, litters, alarms and readings are gone")}
	case errors.Is(err, fs.ErrPermission):
		return []sign{blind(askAs, "when the last backup was made is not for this user to read")}
	case err != nil:
		return []sign{blind("make a backup, which writes it anew: sudo nestmon backup", "when the last backup was made cannot be read: %v", err)}
	case b.Time.After(p.now.Add(time.Minute)):
		return []sign{lookAt("set the clock, then make another", "the last backup was made at %s, which has not been yet by this clock", b.Time.In(p.cfg.location()).Format("2006-01-02 15:04"))}
	}
	ago := agoText(p.now.Sub(b.Time))
	_, gone := os.Stat(b.File)
	switch {
	case p.now.Sub(b.Time) > oldBackup:
		return []sign{lookAt(remedy, "the last backup was made %s", ago)}
	case errors.Is(gone, fs.ErrNotExist):
		return []sign{fine("made %s; %s has gone elsewhere since, or its disk is away", ago, b.File)}
	}
	return []sign{fine("made %s: %s, %s", ago, b.File, sizeOf(b.Bytes))}
}

// examineArchive opens a copy of the archive as a new start would: one of a newer version, or a damaged one, shows there and not before. While the
// daemon runs it has it open already.
func examineArchive(_ context.Context, p *patient) []sign {
	if p.daemon.there {
		if in := p.daemon.inside; in != nil && in.Held != "" {
			return []sign{fails("nestmon goes back to the card by itself once it can be written; replace a card that is failing", "the running daemon watches from memory and keeps nothing: %s", in.Held)}
		}
		return []sign{fine("open in the running daemon")}
	}
	switch err := statError(filepath.Join(p.cfg.Data, "book.db")); {
	case errors.Is(err, fs.ErrPermission):
		return []sign{blind(askAs, "the archive is not for this user to open")}
	case errors.Is(err, fs.ErrNotExist):
		return []sign{lookAt("start the daemon, which makes it", "there is none in %s yet", p.cfg.Data)}
	}
	a, err := archive.ReadOnly(p.cfg.Data, archive.Options{Probes: p.cfg.probes(), Now: time.Now})
	switch {
	case errors.Is(err, fs.ErrPermission) && !p.able():
		return []sign{blind(askAs, "the archive is not for this user to open")}
	case err != nil:
		return []sign{fromCheck(failed, err.Error())}
	}
	_, newest, err := a.Newest()
	if err = errors.Join(err, a.Close()); err != nil {
		return []sign{fromCheck(failed, err.Error())}
	}
	if newest.IsZero() {
		return []sign{fine("it opens, and holds no reading yet")}
	}
	return []sign{fine("it opens; its newest poll is %s", newest.In(p.cfg.location()).Format("2006-01-02 15:04"))}
}
