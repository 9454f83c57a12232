package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/exporter/backup"
)

var restoreCommand = command{"restore", "put what a backup holds into its place, on a new card too", runRestore}

// freshFor is how old a backup may be and still be the daemon as it was, moved to another card: what people acknowledged is acknowledged, and
// messages that waited for a phone are sent. Ours, no source.
const freshFor = time.Hour

func runRestore(ctx context.Context, args []string, std stdio) int {
	fs := flags("restore", "restore --from FILE --to FOLDER [--config-to FILE]", std)
	from := fs.String("from", "", "the backup, a `file` that nestmon backup wrote")
	to := fs.String("to", "", "`folder` of the archive, as the configuration's data names it; what is there is moved aside")
	configTo := fs.String("config-to", "", "`file` to write the configuration to; it stays in the folder where this is left out")
	if code, ok := parse(fs, args); !ok {
		return code
	}
	if *from == "" || *to == "" {
		fmt.Fprintf(std.err, "nestmon restore: --from and --to are needed; write nestmon restore --from FILE --to %s\n", defaultData)
		return exitWrongUse
	}
	if c, err := net.DialTimeout("unix", filepath.Join(*to, controlName), time.Second); err == nil {
		_ = c.Close()
		fmt.Fprintf(std.err, "nestmon restore: a nestmon is running on %s; stop it first: sudo systemctl stop nestmon\n", *to)
		return exitWrongUse
	}
	settled := settling{now: time.Now()}
	done, err := settled.restore(ctx, *from, *to, *configTo)
	if err != nil {
		fmt.Fprintf(std.err, "nestmon restore: %v\n", err)
		for _, aside := range done.Aside {
			fmt.Fprintf(std.err, "what was there before is now %s\n", aside)
		}
		return exitWrongUse
	}
	writeRestored(std.out, done, settled)
	return exitDone
}

// settling is what becomes of the calls when a backup is restored.
type settling struct {
	now      time.Time
	old      bool
	feed     bool // the calendar has an address again, maybe one that was replaced since
	withheld int64
}

func (s *settling) restore(ctx context.Context, from, to, configTo string) (backup.Restored, error) {
	return backup.Restore(ctx, backup.Plan{
		From: from, To: to, ConfigTo: configTo, Now: func() time.Time { return s.now }, Ready: s.settle,
		Room: func(dir string) (uint64, bool) { d := room(dir); return d.Free, d.Bytes > 0 },
	})
}

// settle leaves the book of a fresh backup as it is. In an older one no message waits any more: the phone has got them from the daemon that ran
// on, or they are of another day, a stale "over" and "all well" among them. What stands is told anew instead, by what the probes say then.
func (s *settling) settle(dir string, m backup.Manifest) (err error) {
	if age := s.now.Sub(m.Time); age >= 0 && age <= freshFor {
		return nil
	}
	s.old = true // also where the clock cannot tell
	a, err := archive.Open(dir, archive.Options{Now: func() time.Time { return s.now }, Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, a.Close()) }()
	if s.withheld, err = a.Withhold("waited when the backup of " + m.Time.Format(time.RFC3339) + " was made, which was restored later"); err != nil {
		return err
	}
	access, err := a.Meta(feedKey)
	if err != nil {
		return err
	}
	s.feed = strings.Contains(access, `"secret"`)
	kept, err := a.Calls()
	if err != nil {
		return err
	}
	if kept, err = forgetCalls(kept, m.Time); err != nil {
		return err
	}
	return a.Commit(exporter.Commit{Time: m.Time, Calls: kept})
}

func writeRestored(out io.Writer, done backup.Restored, s settling) {
	cfg, findings, err := loadConfig(done.Config)
	if err != nil {
		cfg = defaultConfig()
	}
	loc := cfg.location()
	m := done.Manifest
	fmt.Fprintf(out, "%s is restored from the backup of %s, site %s, nestmon %s.\n", done.Folder, m.Time.In(loc).Format("2006-01-02 15:04"), m.Site, m.Version)
	fmt.Fprintf(out, "  %s\n", holds(m, loc))
	for _, aside := range done.Aside {
		fmt.Fprintf(out, "  What was there before is now %s\n", aside)
	}
	if s.old {
		fmt.Fprintf(out, `The backup is not of this hour. What was entered since is not in it: enter it again.
Alarms that stood then stand until the probes or a look end them, for an hour at least, and call once more, also where somebody had acknowledged or
shelved them: acknowledge what you know of;
what was out of service stays so. %s that waited for a phone then will not be sent.
`, count(int(s.withheld), "message"))
	}
	if s.feed {
		fmt.Fprintln(out, "The calendar has the address that it had then, also where that was ended or replaced since. Another: nestmon chores feed --new. None: nestmon chores feed --off.")
	}
	fmt.Fprintln(out, "Next, with the old card out or its nestmon stopped, for two would publish as one:")
	step := func(format string, args ...any) { fmt.Fprintf(out, "  "+format+"\n", args...) }
	if !done.Owned {
		step("sudo chown -R nestmon:nestmon %s", done.Folder)
	}
	const placed = installedConfig
	if inside := filepath.Join(done.Folder, backup.ConfigName); done.Config == inside {
		step("sudo install -m 640 -g nestmon %s %s", inside, placed)
	} else {
		step("sudo chgrp nestmon %s", done.Config)
	}
	for _, f := range m.Files {
		if strings.HasPrefix(f.Name, backup.SecretsName+"/") {
			to := f.Path
			if to == "" {
				to = "WHERE-" + f.Key + "-SAYS"
			}
			step("sudo install -m 600 -o nestmon %s %s", filepath.Join(done.Folder, f.Name), to)
		}
	}
	if err == nil {
		if data, err := filepath.Abs(cfg.Data); err == nil && data != done.Folder {
			step("the configuration says data: %s; write %s there, or restore to that folder", cfg.Data, done.Folder)
		}
		for _, b := range missing(cfg, m) {
			step("bring %s", strings.TrimSpace(b.What+"  "+b.Where))
		}
	}
	if anyError(findings) || err != nil {
		step("mend the configuration; 'nestmon check' names what is wrong with it")
	}
	step("on another board probes on I2C and of the kernel may be elsewhere: sudo -u nestmon nestmon probes")
	step("sudo -u nestmon nestmon check, until no line says missing")
	step("sudo systemctl start nestmon")
}

// missing lists what the configuration needs beside it that is neither here nor in the backup.
func missing(cfg *config, m backup.Manifest) (all []bring) {
	for _, f := range filesOf(reflect.ValueOf(cfg).Elem(), "") {
		packed := slices.ContainsFunc(m.Files, func(member backup.Member) bool { return member.Key == f.key })
		if _, err := os.Stat(f.path); err == nil || packed {
			continue
		}
		b := bring{What: f.key}
		if filepath.IsAbs(f.path) {
			b.Where = f.path
		}
		all = append(all, b)
	}
	for _, name := range cfg.environ {
		all = append(all, bring{What: "the environment variable " + name})
	}
	return all
}
