package main

import (
	"fmt"
	"strings"
	"time"

	"nestmon/thresholds/alarm"
)

// faultBook turns what is known of buses, sinks and the archive into alarms about the daemon itself.
type faultBook struct {
	unstored error     // the archive cannot be written
	since    time.Time // of unstored
	busDown  map[string]time.Time
}

// Delays before a part of the daemon is an alarm; ours, no source.
const (
	busPatience  = 2 * time.Minute // a bus that misses one poll is no event
	sinkPatience = 10 * time.Minute
)

func (b *faultBook) storing(err error, now time.Time) {
	if err == nil {
		b.unstored = nil
		return
	}
	if b.unstored == nil {
		b.since = now
	}
	b.unstored = err
}

// report tells the rabbitry how its own daemon does.
func (b *faultBook) report(d *daemon, now time.Time) {
	r := d.judge.rabbitry
	text, since, severity := b.archiveWords(d, now)
	r.Fault(alarm.DaemonFault, severity, since, text)
	text, since, severity = b.busWords(d, now)
	r.Fault(alarm.BusFault, severity, since, text)
	text, since, severity = sinkWords(d, now)
	r.Fault(alarm.SinkFault, severity, since, text)
}

func (b *faultBook) archiveWords(d *daemon, now time.Time) (string, time.Time, alarm.Severity) {
	files := d.archive.SetAside()
	switch {
	case b.unstored != nil:
		return fmt.Sprintf("The archive cannot be written (%v). Judging and alarms go on from memory; free or replace the card.", b.unstored), b.since, alarm.Warning
	case len(files) > 0:
		return fmt.Sprintf("An archive file could not be read and was set aside as %s; a new one was begun. Keep the file: nothing was deleted.",
			strings.Join(files, ", ")), d.started, alarm.Warning
	}
	return "", now, alarm.None
}

func (b *faultBook) busWords(d *daemon, now time.Time) (string, time.Time, alarm.Severity) {
	if b.busDown == nil {
		b.busDown = map[string]time.Time{}
	}
	var down []string
	first := now
	for _, bus := range d.poller.Buses() {
		if bus.Up {
			delete(b.busDown, bus.Bus)
			continue
		}
		since, known := b.busDown[bus.Bus]
		if !known {
			b.busDown[bus.Bus], since = now, now
		}
		if now.Sub(since) >= busPatience {
			down = append(down, bus.Bus)
			if since.Before(first) {
				first = since
			}
		}
	}
	if len(down) == 0 {
		return "", now, alarm.None
	}
	return fmt.Sprintf("Bus %s does not answer; none of its probes is read. Look at its cable and at what the kernel says of it.", strings.Join(down, ", ")), first, alarm.Warning
}

func sinkWords(d *daemon, now time.Time) (string, time.Time, alarm.Severity) {
	var failing []string
	first, severity := now, alarm.None
	for _, s := range d.sinks.health() {
		if s.OK || s.Error == "" || s.Since.IsZero() || d.sinks.now().Sub(s.Since) < sinkPatience {
			continue
		}
		failing = append(failing, fmt.Sprintf("%s (%s)", s.Name, s.Error))
		severity = max(severity, d.sinks.severity(s.Name))
		if s.Since.Before(first) {
			first = s.Since
		}
	}
	if len(failing) == 0 {
		return "", now, alarm.None
	}
	return "Nothing gets through to " + strings.Join(failing, ", ") + ". What is owed waits in the archive.", first, severity
}
