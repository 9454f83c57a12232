package main

import (
	"context"
	"fmt"
	"io"
	"time"

	"nestmon/exporter"
)

var backfillCommand = command{"backfill", "let the daemon send readings of a past range to InfluxDB once more", runBackfill}

// pastRange is a backfill as a command asks for it.
type pastRange struct {
	Sink string    `json:"sink"`
	From time.Time `json:"from"`
	To   time.Time `json:"to"` // not in it
	Stop bool      `json:"stop"`
}

// pastAnswer is what came of it.
type pastAnswer struct {
	Sink string `json:"sink"`
	exporter.Backfill
	Oldest time.Time `json:"oldest"` // poll of the archive
}

func runBackfill(ctx context.Context, args []string, std stdio) int {
	fs := flags("backfill", "backfill --from T [--to T] [--sink influx] [--config F]\n       nestmon backfill --stop [--sink influx] [--config F]", std)
	file := fs.String("config", installedConfig, "the daemon's configuration `file`")
	from := fs.String("from", "", "first `day` or time")
	to := fs.String("to", "", "`day` or time to stop before; now where it is left out")
	sink := fs.String("sink", "influx", "the `sink` to send to, as nestmon status names it")
	stop := fs.Bool("stop", false, "end what is being sent again")
	asJSON := fs.Bool("json", false, "print one JSON value")
	if code, ok := parse(fs, args); !ok {
		return code
	}
	cfg, ok := openConfig("backfill", *file, std)
	if !ok {
		return exitWrongUse
	}
	asked := pastRange{Sink: *sink, Stop: *stop}
	var err error
	switch {
	case *stop && *from+*to != "":
		err = fmt.Errorf("--stop goes without --from and --to")
	case !*stop && *from == "":
		err = fmt.Errorf("--from is missing; write the first day or time to send again, such as --from 2026-03-01")
	case !*stop:
		asked.From, asked.To, err = period(*from, *to, cfg.location())
	}
	if *to == "" {
		asked.To = time.Time{} // the daemon's now
	}
	var said pastAnswer
	if err == nil {
		err = call(cfg.Control).post(ctx, "/control/backfill", asked, &said)
	}
	if err == nil && *asJSON {
		err = printJSON(std.out, said)
	} else if err == nil {
		said.write(std.out, asked, cfg.location())
	}
	if err != nil {
		fmt.Fprintf(std.err, "nestmon backfill: %v\n", err)
		return exitWrongUse
	}
	return exitDone
}

func (a pastAnswer) write(w io.Writer, asked pastRange, loc *time.Location) {
	at := func(t time.Time) string { return t.In(loc).Format("2006-01-02 15:04") }
	if asked.Stop {
		fmt.Fprintf(w, "Ended: %d of %d polls of %s to %s were sent again to %s.\n", a.Sent, a.Polls, at(a.From), at(a.To), a.Sink)
		return
	}
	fmt.Fprintf(w, "Sending again to %s: %d polls of %s to %s, behind what is new. nestmon status shows how far it is; a restart goes on with it.\n",
		a.Sink, a.Polls, at(a.From), at(a.To))
	if a.From.Before(a.Oldest) {
		fmt.Fprintf(w, "Single readings are kept since %s; nothing before that is sent.\n", at(a.Oldest))
	}
}

// backfill does what the command asks.
func (d *daemon) backfill(asked pastRange) (said pastAnswer, err error) {
	said.Sink = asked.Sink
	p, err := d.sinks.past(asked.Sink)
	if err != nil {
		return said, err
	}
	if asked.Stop {
		said.Backfill, err = p.StopResending()
		return said, err
	}
	if asked.To.IsZero() {
		asked.To = d.sinks.now()
	}
	if said.Backfill, err = p.Resend(asked.From, asked.To); err != nil {
		return said, err
	}
	said.Oldest, err = d.archive.Oldest()
	return said, err
}
