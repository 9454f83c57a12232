package main

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"time"

	"nestmon/sensors/i2c"
)

// examineSecrets looks at the files that the configuration names: are they there, whole, and closed to others. It never quotes them.
func examineSecrets(_ context.Context, p *patient) (found []sign) {
	files := filesOf(reflect.ValueOf(p.cfg).Elem(), "")
	closed := 0
	for _, f := range files {
		if _, err := os.ReadFile(f.path); errors.Is(err, fs.ErrPermission) && !p.able() {
			closed++ // as it should be; whether others can reach it, its mode still tells
			if open := f.open(); open != "" && !errors.Is(statError(f.path), fs.ErrPermission) {
				found = append(found, fromCheck(failed, f.key+": "+open))
			}
			continue
		}
		if lack := f.lack(p.now); lack != "" {
			found = append(found, fromCheck(failed, f.key+": "+lack))
		}
	}
	switch {
	case closed > 0:
		found = append(found, blind(askAs, "%s closed to this user, so whether they are right was not seen", count(closed, "file")))
	case len(found) == 0:
		for _, lack := range lookIntoFiles(p.cfg, p.now) {
			found = append(found, fromCheck(failed, lack))
		}
	}
	if len(found) == 0 && len(files) > 0 {
		found = append(found, fine("%s there, can be used, and closed to others", count(len(files), "file")))
	}
	return found
}

func statError(path string) error {
	_, err := os.Stat(path)
	return err
}

// need is a file and what the daemon must be able to do with it: 4 read, 2 write, 1 enter.
type need struct {
	path string
	want fs.FileMode
}

// examineRights asks whether the daemon's own user can do what it will have to: after a command that ran as root a file may be root's, and that shows
// at the next start only.
func examineRights(_ context.Context, p *patient) (found []sign) {
	if !p.host.known {
		return []sign{blind("start the daemon once, or make the folder as README says", "as whom the daemon runs is not known: there is no %s to be seen", p.cfg.Data)}
	}
	unseenPaths := 0
	if _, err := os.ReadDir(p.cfg.Data); errors.Is(err, fs.ErrPermission) {
		unseenPaths++ // and with it whatever lies there
	}
	for _, n := range p.needs() {
		info, err := os.Stat(n.path)
		switch {
		case errors.Is(err, fs.ErrPermission):
			unseenPaths++
		case err != nil: // what is missing is told where it belongs
		case !p.host.may(info, n.want):
			found = append(found, fails("give it the right: sudo chown "+p.host.name+" "+n.path+", for a device or the configuration its group", "the daemon's user %s may not %s %s", p.host.name, rightWords(n.want), n.path))
		}
	}
	info, err := os.Stat(p.cfg.Data)
	if err == nil && info.Mode().Perm()&0o007 != 0 {
		found = append(found, lookAt("sudo chmod 750 "+p.cfg.Data, "every user of this machine may look into %s", p.cfg.Data))
	}
	if p.host.root() {
		found = append(found, lookAt("run it as a user of its own: README, step 3", "the daemon runs as root, and whoever breaks into it has the whole board"))
	}
	if unseenPaths > 0 {
		found = append(found, blind(askAs, "%s of the daemon hidden from this user, and what lies in them", count(unseenPaths, "place")))
	}
	if len(found) == 0 {
		found = append(found, fine("the daemon's user %s may read and write what it has to", p.host.name))
	}
	return found
}

func rightWords(want fs.FileMode) string {
	var all []string
	for _, r := range []struct {
		bit  fs.FileMode
		word string
	}{{4, "read"}, {2, "write"}, {1, "enter"}} {
		if want&r.bit != 0 {
			all = append(all, r.word)
		}
	}
	return strings.Join(all, " and ")
}

// needs lists what the daemon uses, and the folders on the way there.
func (p *patient) needs() (all []need) {
	seen := map[string]bool{}
	add := func(path string, want fs.FileMode) {
		if !filepath.IsAbs(path) || seen[path] {
			return
		}
		seen[path] = true
		all = append(all, need{path, want})
		for dir := filepath.Dir(path); dir != "/" && !seen[dir]; dir = filepath.Dir(dir) {
			seen[dir] = true
			all = append(all, need{dir, 1})
		}
	}
	add(p.cfg.Data, 7)
	if file, err := filepath.Abs(p.file); err == nil {
		add(file, 4)
	}
	for _, f := range filesOf(reflect.ValueOf(p.cfg).Elem(), "") {
		add(f.path, 4)
	}
	files, _ := os.ReadDir(p.cfg.Data) // that it cannot be read is told by who asks
	for _, f := range files {
		switch {
		case f.Name() == backupNote: // root's, where root's crontab makes the backup
		case f.Type().IsRegular():
			add(filepath.Join(p.cfg.Data, f.Name()), 6)
		}
	}
	for _, c := range p.cfg.Probes {
		if c.Source == i2c.Kind {
			add(filepath.Join(p.root, "dev", c.Bus), 6)
		}
	}
	return all
}

// examineDisk asks how much the archive can still take, and whether anything can be written there at all.
func examineDisk(_ context.Context, p *patient) (found []sign) {
	switch err := writable(p.cfg.Data); {
	case err == nil:
	case errors.Is(err, fs.ErrPermission) && !p.able():
		found = append(found, blind(askAs, "whether %s can be written is not for this user to try", p.cfg.Data))
	default:
		found = append(found, fails("free or replace the card, and give "+p.cfg.Data+" to the user nestmon", "the archive cannot be written: %v", err))
	}
	there := room(nearest(p.cfg.Data))
	switch {
	case there.Bytes == 0:
		found = append(found, blind(askAs, "how much is left for %s is not told", p.cfg.Data))
	case there.Free < fullDisk:
		found = append(found, fails("free some space: journalctl --vacuum-size=50M, sudo apt clean, old backups", "%s left for the archive", sizeOf(int64(there.Free))))
	case there.Free < scarceDisk:
		found = append(found, lookAt("free some space soon: old backups, logs", "%s left for the archive", sizeOf(int64(there.Free))))
	default:
		found = append(found, fine("%s left for the archive, which has %s", sizeOf(int64(there.Free)), sizeOf(int64(there.Archive))))
	}
	return found
}

// Of the room on the disk, in bytes. The rule for Prometheus warns under 200 MB too; the lower is a few weeks of the default configuration's
// growth. Ours, no source.
const (
	scarceDisk = 200e6
	fullDisk   = 50e6
)

// nearest is dir, or the nearest folder above it that is there.
func nearest(dir string) string {
	for dir != filepath.Dir(dir) && errors.Is(statError(dir), fs.ErrNotExist) {
		dir = filepath.Dir(dir)
	}
	return dir
}

// agoText writes how long ago something was.
func agoText(ago time.Duration) string {
	const day = 24 * time.Hour
	switch {
	case ago >= 2*day:
		return count(int(ago/day), "day") + " ago"
	case ago >= time.Hour:
		return span(ago.Round(time.Minute)) + " ago"
	}
	return span(ago.Round(time.Second)) + " ago"
}
