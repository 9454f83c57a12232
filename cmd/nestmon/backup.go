package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"
	"syscall"
	"time"

	"nestmon/exporter/archive"
	"nestmon/exporter/backup"
	"nestmon/sensors/offsets"
)

var backupCommand = command{"backup", "put archive, litter book and configuration into one file, also while the daemon runs", runBackup}

// backupSpare is left free on the disk beside a backup and its proof, in bytes; ours, no source.
const backupSpare = 16 << 20

// backupDone is what a backup came to, as --json prints it.
type backupDone struct {
	File  string `json:"file"`
	Bytes int64  `json:"bytes"`
	backup.Manifest
	Bring []bring `json:"bring_along"`
}

// bring is something that a new card needs and the backup does not hold.
type bring struct {
	What  string `json:"what"`
	Where string `json:"where,omitempty"`
}

func runBackup(ctx context.Context, args []string, std stdio) int {
	fs := flags("backup", "backup [--config F] [--to FILE|FOLDER] [--secrets] [--force] [--json]", std)
	file := fs.String("config", installedConfig, "configuration `file`")
	to := fs.String("to", ".", "`file` or folder to write to; in a folder its name is nestmon-SITE-TIME.tar.gz")
	secrets := fs.Bool("secrets", false, "take in the files with passwords and addresses that the configuration names")
	force := fs.Bool("force", false, "replace a file of that name")
	asJSON := fs.Bool("json", false, "print one JSON value")
	if code, ok := parse(fs, args); !ok {
		return code
	}
	cfg, findings, err := loadConfig(*file)
	if err != nil {
		fmt.Fprintf(std.err, "nestmon backup: %v\n", err)
		return exitWrongUse
	}
	if anyError(findings) { // half an edit, or a variable that only the service has, must not keep anybody from a backup
		writeFindings(std.err, *file, findings)
		fmt.Fprintf(std.err, "nestmon backup: the configuration is taken in as it is; the archive is that in %s\n", cfg.Data)
	}
	target, err := backupTarget(cfg, *to, time.Now())
	if err == nil {
		err = roomForBackup(cfg.Data, filepath.Dir(target))
	}
	var done backupDone
	if err == nil {
		job := backup.Job{Data: cfg.Data, To: target, Force: *force, Version: version(), Site: cfg.Site.ID, Now: time.Now}
		job.Also, done.Bring = besideArchive(cfg, *file, *secrets)
		done.Manifest, err = backup.Write(ctx, job)
	}
	if err != nil {
		fmt.Fprintf(std.err, "nestmon backup: %v\n", withRemedy(err))
		return exitWrongUse
	}
	done.File = target
	if st, err := os.Stat(target); err == nil {
		done.Bytes = st.Size()
	}
	if err := noteBackup(cfg.Data, lastBackup{done.Time, done.File, done.Bytes}); err != nil {
		fmt.Fprintf(std.err, "nestmon backup: %v\n", err)
	}
	if *asJSON {
		if printJSON(std.out, done) != nil {
			return exitWrongUse
		}
		return exitDone
	}
	done.write(std.out, cfg, *secrets)
	return exitDone
}

// withRemedy says what to do about errors of the machine.
func withRemedy(err error) error {
	switch {
	case errors.Is(err, fs.ErrPermission):
		return fmt.Errorf("%w; run it with sudo, or write to a folder of yours", err)
	case errors.Is(err, syscall.ENOSPC):
		return fmt.Errorf("%w; free some space, or write to another disk", err)
	}
	return err
}

// backupTarget is the file to write.
func backupTarget(cfg *config, to string, now time.Time) (string, error) {
	file, err := filepath.Abs(to)
	if err != nil {
		return "", err
	}
	st, err := os.Stat(file)
	if folder := err == nil && st.IsDir(); folder || strings.HasSuffix(to, string(filepath.Separator)) {
		file = filepath.Join(file, fmt.Sprintf("nestmon-%s-%s.tar.gz", unfit.ReplaceAllString(cfg.Site.ID, "_"), now.In(cfg.location()).Format("2006-01-02T1504")))
	}
	dir, err := filepath.EvalSymlinks(filepath.Dir(file))
	if errors.Is(err, fs.ErrNotExist) {
		return "", fmt.Errorf("there is no folder %s; make it first", filepath.Dir(file))
	}
	if err != nil {
		return "", err
	}
	data, err := filepath.EvalSymlinks(cfg.Data)
	if err != nil {
		return file, nil //nolint:nilerr // that there is no archive is said where it is opened
	}
	if rel, err := filepath.Rel(data, dir); err == nil && rel != ".." && !strings.HasPrefix(rel, ".."+string(filepath.Separator)) {
		return "", fmt.Errorf("%s is in the folder of the archive itself, and lost with it; name another one with --to, best on another disk", file)
	}
	return file, nil
}

// roomForBackup refuses a disk that cannot take two copies of the archive, which a backup and its proof need for a while.
func roomForBackup(data, dir string) error {
	there := room(dir)
	need := 2*room(data).Archive + backupSpare
	if there.Bytes > 0 && there.Free < need {
		return fmt.Errorf("%s has %d MB left, the backup and its proof take up to %d MB; free some space, or write to another disk with --to", dir, there.Free>>20, need>>20)
	}
	return nil
}

// unfit is what a name in a backup must not hold.
var unfit = regexp.MustCompile(`[^A-Za-z0-9._-]+`)

// besideArchive lists what goes into a backup beside the archive's own files, and what does not and is needed all the same.
func besideArchive(cfg *config, file string, secrets bool) (also []backup.Extra, lacks []bring) {
	for _, name := range []string{offsets.File, archive.LimitsFile} {
		if path := filepath.Join(cfg.Data, name); exists(path) {
			also = append(also, backup.Extra{Name: name, From: path})
		}
	}
	also = append(also, backup.Extra{Name: backup.ConfigName, From: file})
	for i, f := range filesOf(reflect.ValueOf(cfg).Elem(), "") {
		e := backup.Extra{From: f.path, Key: f.key}
		base := f.key[strings.LastIndex(f.key, ".")+1:]
		if filepath.IsAbs(f.path) { // else never shown: it may be the secret itself
			e.Path, base = f.path, filepath.Base(f.path)
		}
		e.Name = fmt.Sprintf("%s/%d-%s", backup.SecretsName, i+1, unfit.ReplaceAllString(base, "_"))
		switch {
		case secrets && exists(f.path):
			also = append(also, e)
		case secrets:
			lacks = append(lacks, bring{f.key + " (is not there)", e.Path})
		default:
			lacks = append(lacks, bring{f.key, e.Path})
		}
		if strings.HasSuffix(f.key, webConfigKey) {
			lacks = append(lacks, bring{"the certificate and key that the file of " + f.key + " names", ""})
		}
	}
	for _, name := range cfg.environ {
		lacks = append(lacks, bring{"the environment variable " + name, ""})
	}
	return also, lacks
}

func exists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

// sizeOf writes a file's size as people read it.
func sizeOf(bytes int64) string {
	if bytes < 1e6 {
		return fmt.Sprintf("%d kB", (bytes+999)/1000)
	}
	if bytes >= 10e9 {
		return fmt.Sprintf("%.0f GB", float64(bytes)/1e9)
	}
	return fmt.Sprintf("%.1f MB", float64(bytes)/1e6)
}

func (d backupDone) write(out io.Writer, cfg *config, secrets bool) {
	fmt.Fprintf(out, "%s: %s, written and read back\n", d.File, sizeOf(d.Bytes))
	fmt.Fprintf(out, "  %s\n", holds(d.Manifest, cfg.location()))
	switch {
	case secrets:
		fmt.Fprintln(out, "It holds passwords. Keep it where nobody but you can read it.")
	case len(cfg.written) > 0:
		fmt.Fprintln(out, "It holds the secrets that stand in the configuration itself, the page's logins, the calendar's address and the keys of links. Let nobody else read it.")
	default:
		fmt.Fprintln(out, "It holds no password, but the page's logins, the calendar's address and the keys of links. Let nobody else read it.")
	}
	writeBring(out, d.Bring)
}

func writeBring(out io.Writer, all []bring) {
	if len(all) == 0 {
		return
	}
	fmt.Fprintln(out, "Bring these along, they are not in it:")
	for _, b := range all {
		fmt.Fprintln(out, "  "+strings.TrimSpace(b.What+"  "+b.Where))
	}
}

// holds says in one line what is in a backup.
func holds(m backup.Manifest, loc *time.Location) string {
	until := "no readings"
	if !m.Newest.IsZero() {
		until = "readings until " + m.Newest.In(loc).Format("2006-01-02 15:04")
	}
	inBook := m.Rows["book.db"]
	return fmt.Sprintf("%s; %s and %d lines in the book; %d alarms and chores standing", until, count(int(m.Litters), "litter"), inBook["entries"], inBook["standing"])
}
