package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"iter"
	"slices"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/sensors"
	"nestmon/sensors/recorded"
)

var importCommand = command{"import", "take readings of before the archive begins from a CSV file, while the daemon is stopped", runImport}

func runImport(ctx context.Context, args []string, std stdio) int {
	fs := flags("import", "import --readings R.csv [--config F]", std)
	file := fs.String("config", installedConfig, "configuration `file`")
	readings := fs.String("readings", "", "CSV `file` as export writes it")
	asJSON := fs.Bool("json", false, "print one JSON value")
	if code, ok := parse(fs, args); !ok {
		return code
	}
	cfg, ok := openConfig("import", *file, std)
	if !ok {
		return exitWrongUse
	}
	if *readings == "" {
		fmt.Fprintln(std.err, "nestmon import: --readings is missing; name the CSV file. The litter book has 'nestmon litter import'")
		return exitWrongUse
	}
	done, err := importReadings(ctx, cfg, *readings, time.Now())
	switch {
	case err == nil && *asJSON:
		err = printJSON(std.out, done)
	case err == nil:
		fmt.Fprintf(std.out, "Imported %s: %d readings of %d polls. The archive has its own from %s on; %d polls of then and later were left out.\n",
			*readings, done.Readings, done.Polls, done.Begins.In(cfg.location()).Format("2006-01-02 15:04"), done.Left)
	}
	if err != nil {
		fmt.Fprintf(std.err, "nestmon import: %v\n", err)
		return exitWrongUse
	}
	return exitDone
}

// importReadings reads the file twice: once to see that all of it is right, then into the archive, which no daemon may have open.
func importReadings(ctx context.Context, cfg *config, file string, now time.Time) (done archive.Older, err error) {
	found := map[string][]sensors.Quantity{}
	for p, err := range recordedPolls(ctx, cfg, file) {
		if err != nil {
			return done, err
		}
		for _, r := range p.Readings {
			if r.Time.After(now) {
				return done, fmt.Errorf("%s: probe %s at %s is in the future; look at the times, and at this board's clock", file, r.Probe, r.Time.Format(time.RFC3339))
			}
			if !slices.Contains(found[r.Probe], r.Quantity) {
				found[r.Probe] = append(found[r.Probe], r.Quantity)
			}
		}
	}
	var probes []sensors.Probe
	for _, id := range cfg.probeIDs() {
		if q := found[id]; q != nil {
			slices.Sort(q)
			probes = append(probes, sensors.Probe{ID: id, Quantities: q})
		}
	}
	a, err := archive.Open(cfg.Data, archive.Options{Now: func() time.Time { return now }})
	if err != nil {
		return done, err
	}
	defer func() { err = errors.Join(err, a.Close()) }()
	return a.PutOlder(probes, recordedPolls(ctx, cfg, file))
}

// recordedPolls reads a readings file poll by poll.
func recordedPolls(ctx context.Context, cfg *config, file string) iter.Seq2[exporter.StoredPoll, error] {
	return func(yield func(exporter.StoredPoll, error) bool) {
		f, err := openInput(file)
		if err != nil {
			yield(exporter.StoredPoll{}, err)
			return
		}
		defer f.Close()
		in := recorded.NewReader(f, file, cfg.location())
		in.Only(cfg.probeIDs())
		var p exporter.StoredPoll
		for {
			row, err := in.Next()
			if err == nil {
				err = ctx.Err()
			}
			over := errors.Is(err, io.EOF)
			if err != nil && !over {
				yield(exporter.StoredPoll{}, err)
				return
			}
			if len(p.Readings) > 0 && (over || !row[0].Time.Equal(p.Time)) {
				if !yield(p, nil) {
					return
				}
				p.Readings = p.Readings[:0]
			}
			if over {
				return
			}
			p.Time = row[0].Time
			p.Readings = append(p.Readings, row...)
		}
	}
}
