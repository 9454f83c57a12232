package main

import (
	"context"
	"net/url"
	"time"

	"nestmon/thresholds/alarm/quality"
)

// qualityLead is how far before the span events are read, so that what comes again at its beginning is known to.
const qualityLead = 24 * time.Hour

func runQuality(ctx context.Context, args []string, std stdio) int {
	fs := flags("alarms quality", "alarms quality [--config F] [--days N] [--json]", std)
	p := pastFlags{
		file: fs.String("config", installedConfig, "the daemon's configuration `file`"), days: fs.Int("days", qualityDays, "how many `days` back"),
		asJSON: fs.Bool("json", false, "print one JSON value"), name: "alarms quality", answer: "/control/quality",
	}
	if code, ok := parse(fs, args); !ok {
		return code
	}
	var r quality.Report
	cfg, ok := p.ask(ctx, url.Values{}, &r, std)
	if !ok {
		return exitWrongUse
	}
	if *p.asJSON {
		if err := printJSON(std.out, r); err != nil {
			return exitWrongUse
		}
		return exitDone
	}
	wrap(std.out, "", qualityHead(&r, nightCalls, cfg.location()))
	writeQuality(std.out, &r, "Counted is what became urgent; repeats are not kept.", cfg.location())
	return exitDone
}

// quality measures the alarms of the last days.
func (d *daemon) quality(daysBack string) (quality.Report, error) {
	n, err := days(daysBack)
	if err != nil {
		return quality.Report{}, err
	}
	return d.qualityOf(n)
}

func (d *daemon) qualityOf(n int) (quality.Report, error) {
	now := d.pace.Now()
	from := now.AddDate(0, 0, -n)
	heard, from, err := d.heard(from, now)
	if err != nil {
		return quality.Report{}, err
	}
	begin, events, acts, err := d.past(from.Add(-qualityLead), now)
	if err != nil {
		return quality.Report{}, err
	}
	if begin.After(from) {
		from = begin
	}
	standing, err := d.archive.Standing()
	if err != nil {
		return quality.Report{}, err
	}
	in := quality.Input{From: from, To: now, Location: d.cfg.location(), Nests: d.cfg.nestIDs(), Acts: acts}
	for _, st := range standing { // since before the first of them
		if st.On() && st.Time.Before(begin) {
			in.Events = append(in.Events, st.Event)
		}
	}
	in.Events = append(in.Events, events...)
	if in.ActsSince, err = d.archive.ActsSince(); err != nil {
		return quality.Report{}, err
	}
	in.Blind = heard.Blind(in.Nests, from, now.Add(-time.Hour).Truncate(time.Hour)) // an hour is stored some minutes after its end
	return quality.Measure(in), nil
}

// heard finds in which hours each nest had a temperature, and from when on: a daemon may be younger than what it is asked for.
func (d *daemon) heard(from, to time.Time) (*quality.Heard, time.Time, error) {
	nests := d.cfg.nestsOf()
	var h quality.Heard
	first, err := d.archive.Oldest()
	if err != nil {
		return nil, from, err
	}
	err = d.archive.Heard(from, to, func(hour time.Time, probe string) {
		if hour.Before(first) {
			first = hour
		}
		for _, nest := range nests[probe] {
			h.Hear(nest, hour)
		}
	})
	if first.IsZero() {
		first = to
	}
	if from.Before(first) {
		from = first
	}
	return &h, from, err
}

// nestsOf says which nests a probe tells of.
func (c *config) nestsOf() map[string][]string {
	of := map[string][]string{}
	for _, n := range c.Nests {
		for _, probe := range append([]string{n.Air}, n.Cluster...) {
			if probe != "" {
				of[probe] = append(of[probe], n.ID)
			}
		}
	}
	return of
}

func (c *config) nestIDs() []string {
	ids := make([]string, len(c.Nests))
	for i, n := range c.Nests {
		ids[i] = n.ID
	}
	return ids
}
