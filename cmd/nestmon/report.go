package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"time"

	"nestmon/exporter/archive"
	reports "nestmon/exporter/report"
	"nestmon/exporter/web"
	"nestmon/sensors"
	"nestmon/thresholds/book"
	"nestmon/thresholds/review"
)

const reportUsage = `litter report (--litter N | --nest N) [--html FILE] [--config F]
  what became of a litter beside what was measured; a nest's newest litter where only the nest is named`

// runReport prints the report of one litter, or writes it as a page.
func runReport(ctx context.Context, args []string, std stdio) int {
	fs := flags("litter report", reportUsage, std)
	file := fs.String("config", installedConfig, "the daemon's configuration `file`")
	id := fs.Int64("litter", 0, "the litter's `number`")
	nest := fs.String("nest", "", "the `nest`'s id, for its newest litter")
	page := fs.String("html", "", "write the printable page to this `file`, - for standard output, instead of text")
	if code, ok := parse(fs, args); !ok {
		return code
	}
	if (*id == 0) == (*nest == "") {
		return wrongUse(fs, errors.New("which litter? write --litter with its number, or --nest for a nest's newest; 'nestmon litter list' lists them"))
	}
	cfg, ok := openConfig("litter report", *file, std)
	if !ok {
		return exitWrongUse
	}
	ask := url.Values{"litter": {strconv.FormatInt(*id, 10)}, "nest": {*nest}}
	if *page != "" {
		ask.Set("html", "1")
	}
	var said reportAnswer
	err := call(cfg.Control).get(ctx, "/control/report?"+ask.Encode(), &said)
	switch {
	case err != nil:
	case *page == "" || *page == "-":
		_, err = io.WriteString(std.out, said.Report)
	default:
		if err = replaceFile(*page, func(w io.Writer) error { _, err := io.WriteString(w, said.Report); return err }); err == nil {
			fmt.Fprintf(std.out, "Written: %s. Open it in a browser; it prints on one sheet.\n", *page)
		}
	}
	if err != nil {
		return wrongUse(fs, err)
	}
	return exitDone
}

type reportAnswer struct {
	Report string `json:"report"`
}

// answerReport is the daemon's side of the command.
func (d *daemon) answerReport(r *http.Request) (said reportAnswer, err error) {
	if d.bookUnread {
		return said, errBookUnread
	}
	rec, err := d.reported(r)
	if err != nil {
		return said, err
	}
	if r.FormValue("html") != "" {
		page, err := d.Report(rec.ID)
		return reportAnswer{string(page.Body)}, err
	}
	found, err := d.review(rec)
	if err != nil {
		return said, err
	}
	var text bytes.Buffer
	err = reports.Text(&text, found, d.reportSite())
	return reportAnswer{text.String()}, err
}

// reported finds a litter by its number, or the newest that lay in a nest.
func (d *daemon) reported(r *http.Request) (*book.Record, error) {
	b, nest := d.Book(), r.FormValue("nest")
	if nest == "" {
		return d.litterOf(r)
	}
	var newest *book.Record
	for _, rec := range b.Records() {
		lay := slices.ContainsFunc(rec.Stays, func(s book.Stay) bool { return s.Nest == nest })
		if lay && !rec.Kindled.IsZero() && (newest == nil || rec.Kindled.After(newest.Kindled)) {
			newest = rec
		}
	}
	if newest == nil {
		return nil, fmt.Errorf("nest %q has had no kits by the book; look with 'nestmon litter list'", nest)
	}
	return newest, nil
}

func (d *daemon) reportSite() reports.Site {
	return reports.Site{Name: d.cfg.Site.Name, Zone: d.cfg.location(), Now: d.pace.Now()}
}

// Report is the page of one litter, for the page at home.
func (d *daemon) Report(id int64) (web.Page, error) {
	if d.bookUnread {
		return web.Page{}, errBookUnread
	}
	rec := d.Book().Record(id)
	if rec == nil {
		return web.Page{}, fmt.Errorf("%w: no litter has the number %d; /litters lists them", web.ErrNoReport, id)
	}
	found, err := d.review(rec)
	if errors.Is(err, review.ErrNoKits) {
		return web.Page{}, fmt.Errorf("%w: %w", web.ErrNoReport, err)
	}
	if err != nil {
		return web.Page{}, err
	}
	return page(func(w io.Writer) error { return reports.NewPages().Litter(w, found, d.reportSite()) })
}

// Litters is the page that leads to all of them.
func (d *daemon) Litters() (web.Page, error) {
	if d.bookUnread {
		return web.Page{}, errBookUnread
	}
	return page(func(w io.Writer) error { return reports.NewPages().List(w, d.Book().Records(), d.reportSite()) })
}

func page(write func(io.Writer) error) (web.Page, error) {
	var body bytes.Buffer
	err := write(&body)
	return web.Page{Body: body.Bytes(), Policy: reports.Policy()}, err
}

// mostEvents is how many events of one litter's nests are read; the newest are kept. A nest that visits, looks and alarms every hour of eight weeks has
// as many; ours, no source.
const mostEvents = 5000

// review looks back on a litter, from the archive's hourly rows where polls are no longer kept.
func (d *daemon) review(rec *book.Record) (*review.Review, error) {
	now := d.pace.Now()
	in := review.Input{
		Record: rec, Probes: map[string]review.Probes{}, Tables: d.cfg.tables(), Days: d.cfg.Chores, Location: d.cfg.location(), Now: now,
		Scale: review.Scale{Fahrenheit: d.cfg.Site.Display == "fahrenheit"},
	}
	if rec.Kindled.IsZero() {
		return review.Of(in)
	}
	to := now
	if !rec.Open() && rec.Ended.Before(now) {
		to = rec.Ended
	}
	from := rec.Kindled.Truncate(time.Hour)
	var nests []string
	for _, s := range rec.Stays {
		begin, end := s.From, s.Until
		if begin.Before(from) {
			begin = from
		}
		if end.IsZero() || end.After(to) {
			end = to
		}
		i := slices.IndexFunc(d.cfg.Nests, func(n nestConfig) bool { return n.ID == s.Nest })
		if i < 0 || !begin.Before(end) {
			continue
		}
		n := d.cfg.Nests[i]
		in.Probes[n.ID] = review.Probes{Cluster: len(n.Cluster) > 0, Air: n.Air != ""}
		hours, err := d.hoursOf(n, begin, end)
		if err != nil {
			return nil, err
		}
		in.Hours = append(in.Hours, hours...)
		if !slices.Contains(nests, n.ID) {
			nests = append(nests, n.ID)
			in.Entries = append(in.Entries, d.Book().Nest(n.ID)...)
		}
	}
	in.Entries = append(in.Entries, d.ofSite()...)
	var err error
	if d.cfg.Outside != "" {
		if in.Outside, err = d.hourly(d.cfg.Outside, from, to); err != nil {
			return nil, err
		}
	}
	// An alarm may be answered, and be over, after the kits have gone.
	const after = 24 * time.Hour
	if in.Events, err = d.archive.EventsOf(nests, from, to.Add(after), mostEvents); err != nil {
		return nil, fmt.Errorf("reading past events: %w", err)
	}
	if in.Acts, err = d.archive.Acts(from, to.Add(after), mostPast); err != nil {
		return nil, fmt.Errorf("reading what was done: %w", err)
	}
	slices.Reverse(in.Events)
	slices.Reverse(in.Acts)
	if in.ActsSince, err = d.archive.ActsSince(); err != nil {
		return nil, err
	}
	if kept := now.Add(-archive.ActsFor); in.ActsSince.Before(kept) {
		in.ActsSince = kept
	}
	if len(in.Acts) == mostPast && in.Acts[0].At.After(in.ActsSince) {
		in.ActsSince = in.Acts[0].At
	}
	return review.Of(in)
}

// ofSite lists the entries in force about the whole site.
func (d *daemon) ofSite() (all []book.Entry) {
	b := d.Book()
	for _, e := range b.Entries() {
		if e.Nest == "" && e.Litter == 0 && e.What == book.Did && b.ReplacedBy(e.ID) == 0 {
			all = append(all, e)
		}
	}
	return all
}

// hoursOf reads a nest's hours. Of two probes in the cluster the warmer counts, hour by hour: the pile lies there.
func (d *daemon) hoursOf(n nestConfig, from, to time.Time) ([]review.Hour, error) {
	rows := map[time.Time]*review.Hour{}
	row := func(at time.Time) *review.Hour {
		if rows[at] == nil {
			rows[at] = &review.Hour{Nest: n.ID, At: at}
		}
		return rows[at]
	}
	for _, probe := range n.Cluster {
		samples, err := d.hourly(probe, from, to)
		if err != nil {
			return nil, err
		}
		for _, s := range samples {
			if h := row(s.At); !h.Cluster.Known() || s.Mean > h.Cluster.Mean {
				h.Cluster = s.Value
			}
		}
	}
	if n.Air != "" {
		samples, err := d.hourly(n.Air, from, to)
		if err != nil {
			return nil, err
		}
		for _, s := range samples {
			row(s.At).Air = s.Value
		}
	}
	out := make([]review.Hour, 0, len(rows))
	for _, h := range rows {
		out = append(out, *h)
	}
	slices.SortFunc(out, func(a, b review.Hour) int { return a.At.Compare(b.At) })
	return out, nil
}

// longestHours is how many hours one question to the archive covers.
const longestHours = 10000

// hourly reads the whole hours of a probe's temperature.
func (d *daemon) hourly(probe string, from, to time.Time) ([]review.Sample, error) {
	from = from.UTC().Truncate(time.Hour)
	hours := int(min(to.Sub(from)/time.Hour+1, longestHours))
	points, err := d.archive.Series(probe, sensors.Temperature, from, from.Add(time.Duration(hours)*time.Hour), hours)
	if err != nil {
		return nil, fmt.Errorf("reading the hours of %s: %w", probe, err)
	}
	out := make([]review.Sample, len(points))
	for i, p := range points {
		out[i] = review.Sample{At: p.Time, Value: review.Value{N: p.N, Min: p.Min, Mean: p.Mean, Max: p.Max}}
	}
	return out, nil
}
