package main

import (
	"bufio"
	"context"
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

var exportCommand = command{"export", "write stored readings as CSV, the format replay reads", runExport}

func runExport(ctx context.Context, args []string, std stdio) int {
	fs := flags("export", "export [--config F] [--from T] [--to T] [--out R.csv]", std)
	file := fs.String("config", installedConfig, "configuration `file`")
	from := fs.String("from", "", "first `day` or time; everything where it is left out")
	to := fs.String("to", "", "`day` or time to stop before; now where it is left out")
	out := fs.String("out", "", "CSV `file` to write instead of standard output")
	if code, ok := parse(fs, args); !ok {
		return code
	}
	cfg, ok := openConfig("export", *file, std)
	if !ok {
		return exitWrongUse
	}
	begin, end, err := period(*from, *to, cfg.location())
	if err == nil {
		err = exportTo(ctx, cfg, begin, end, *out, std.out)
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
		return begin, end, fmt.Errorf("--from %s is not before --to %s", begin.Format(time.RFC3339), end.Format(time.RFC3339))
	}
	return begin, end, nil
}

func exportTo(ctx context.Context, cfg *config, from, to time.Time, file string, std io.Writer) (err error) {
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
	w := recorded.NewWriter(buffered)
	if a.Has(sensors.Voltage) || a.Has(sensors.Current) {
		w.WithBattery()
	}
	err = a.PollsBetween(from, to, func(p exporter.StoredPoll) error {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		return w.Write(p.Readings)
	})
	return errors.Join(err, w.Flush(), buffered.Flush())
}
