package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/sensors"
	"nestmon/sensors/recorded"
)

var exportCommand = command{"export", "write stored readings as CSV, the format replay reads, or what sinks refused", runExport}

func runExport(ctx context.Context, args []string, std stdio) int {
	fs := flags("export", "export [--refused] [--config F] [--from T] [--to T] [--out R.csv]", std)
	file := fs.String("config", installedConfig, "configuration `file`")
	from := fs.String("from", "", "first `day` or time; everything where it is left out")
	to := fs.String("to", "", "`day` or time to stop before; now where it is left out")
	out := fs.String("out", "", "CSV `file` to write instead of standard output")
	refused := fs.Bool("refused", false, "write what sinks refused for good instead, and why, as JSON Lines")
	if code, ok := parse(fs, args); !ok {
		return code
	}
	cfg, ok := openConfig("export", *file, std)
	if !ok {
		return exitWrongUse
	}
	begin, end, err := period(*from, *to, cfg.location())
	if err == nil {
		err = exportTo(cfg, *out, std.out, func(a *archive.Archive, w io.Writer) error {
			if *refused {
				n, err := writeRefused(a, begin, end, w)
				if n == 0 && err == nil {
					fmt.Fprintln(std.err, "nothing was refused")
				}
				return err
			}
			return writeReadings(ctx, a, begin, end, w)
		})
	}
	if err != nil {
		fmt.Fprintf(std.err, "nestmon export: %v\n", err)
		return exitWrongUse
	}
	return exitDone
}

func period(from, to string, loc *time.Location) (begin, end time.Time, err error) {
	end = time.Now().Add(time.Minute)
	if from != "" {
		if begin, err = parseTime(from, loc); err != nil {
			return begin, end, fmt.Errorf("--from: %w", err)
		}
	}
	if to != "" {
		if end, err = parseTime(to, loc); err != nil {
			return begin, end, fmt.Errorf("--to: %w", err)
		}
	}
	if !begin.Before(end) {
		if to == "" {
			return begin, end, fmt.Errorf("--from %s is still to come; write a time that is past", begin.Format(time.RFC3339))
		}
		return begin, end, fmt.Errorf("--from %s is not before --to %s; write the earlier one as --from", begin.Format(time.RFC3339), end.Format(time.RFC3339))
	}
	return begin, end, nil
}

// exportTo lets write fill the file, or std where none is named.
func exportTo(cfg *config, file string, std io.Writer, write func(*archive.Archive, io.Writer) error) (err error) {
	a, err := archive.ReadOnly(cfg.Data, archive.Options{})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, a.Close()) }()
	if file != "" {
		f, createErr := os.Create(file)
		if createErr != nil {
			return createErr
		}
		defer func() { err = errors.Join(err, f.Close()) }()
		std = f
	}
	buffered := bufio.NewWriter(std)
	return errors.Join(write(a, buffered), buffered.Flush())
}

func writeReadings(ctx context.Context, a *archive.Archive, from, to time.Time, out io.Writer) error {
	w := recorded.NewWriter(out)
	if a.Has(sensors.Voltage) || a.Has(sensors.Current) {
		w.WithBattery()
	}
	err := a.PollsBetween(from, to, func(p exporter.StoredPoll) error {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		return w.Write(p.Readings)
	})
	return errors.Join(err, w.Flush())
}

// writeRefused writes one line for each range of polls that a sink refused for one reason, with the command that sends it again, and says how
// many.
func writeRefused(a *archive.Archive, from, to time.Time, out io.Writer) (n int, err error) {
	all, err := a.Refusals()
	if err != nil {
		return 0, err
	}
	lines := json.NewEncoder(out)
	for _, r := range all {
		if r.To.Before(from) || !r.From.Before(to) {
			continue
		}
		end := r.To.Truncate(time.Second).Add(time.Second)
		if err := lines.Encode(struct {
			exporter.Refusal
			Again string `json:"again"`
		}{r, fmt.Sprintf("nestmon backfill --sink %s --from %s --to %s", r.Sink, r.From.Format(time.RFC3339), end.Format(time.RFC3339))}); err != nil {
			return n, err
		}
		n++
	}
	return n, nil
}
