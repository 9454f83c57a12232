package main

import (
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"nestmon/exporter"
	"nestmon/thresholds/alarm"
)

// faultBook turns what is known of buses, sinks, the archive and the clock into alarms about the daemon itself.
type faultBook struct {
	unstored error     // the archive cannot be written
	since    time.Time // of unstored
	unset    time.Time // since when the clock cannot be trusted, zero while it can
	lines    busBook
}

// Delays before a part of the daemon is an alarm; ours, no source.
const (
	sinkPatience  = 10 * time.Minute // of one of several ways to a phone too; of all at once it is deafAfter
	wrongPatience = time.Minute      // of a sink that only a person can mend; a server that starts may refuse everybody for a moment
	newsFor       = 24 * time.Hour   // how long it is told that readings were refused or lost: once, and seen on a page within a day
	clockPatience = 10 * time.Minute // a board that starts asks the network for the time first
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

func (b *faultBook) clock(trusted bool, now time.Time) {
	switch {
	case trusted:
		b.unset = time.Time{}
	case b.unset.IsZero():
		b.unset = now
	}
}

// report tells the rabbitry how its own daemon does.
func (b *faultBook) report(d *daemon, now time.Time) {
	for _, f := range []struct {
		name alarm.Name
		say  func(*daemon, time.Time) (alarm.Condition, string)
	}{{alarm.DaemonFault, b.daemonWords}, {alarm.SinkFault, sinkWords}, {alarm.PowerFault, powerWords}} {
		c, text := f.say(d, now)
		d.judge.rabbitry.Fault(f.name, c, text)
	}
	c, text := b.lines.words()
	d.judge.rabbitry.Fault(alarm.BusFault, c, text)
	d.judge.rabbitry.Cut(d.cut())
}

// ours is the source of the delays above.
const ours = "ours, no source"

// worse adds one more thing that has failed, and the rule by which it has.
func worse(c *alarm.Condition, severity alarm.Severity, since time.Time, rule string) {
	if c.Count++; c.Count == 1 || since.Before(c.Since) {
		c.Since = since
	}
	c.Severity, c.Source = max(c.Severity, severity), ours
	switch {
	case c.Rule == "":
		c.Rule = rule
	case !strings.Contains(c.Rule, rule):
		c.Rule += "; " + rule
	}
}

func (b *faultBook) daemonWords(d *daemon, now time.Time) (c alarm.Condition, text string) {
	var said []string
	if b.unstored != nil {
		worse(&c, alarm.Warning, b.since, "a write to the archive failed")
		said = append(said, fmt.Sprintf("The archive cannot be written (%v). Judging and alarms go on from memory; free or replace the card, and restart nestmon where this stays.", b.unstored))
	}
	if d.bookUnread {
		worse(&c, alarm.Warning, d.started, "the litter book could not be read")
		said = append(said, "The litter book cannot be read, and no litter is known: until it can be, no nest is judged for chill, limits are those of newborn kits, and nothing is saved. nestmon starts anew by itself once it can.")
	}
	if files := d.archive.SetAside(); len(files) > 0 {
		worse(&c, alarm.Warning, d.started, "an archive file could not be read")
		switch {
		case d.bookLost:
			said = append(said, "The litter book is lost: enter every litter again. Until then no nest is judged for chill, and limits are those of newborn kits.")
		case holdsBook(files):
			said = append(said, "The litter book was written again from memory; nothing of it is lost.")
		}
		said = append(said, fmt.Sprintf("An archive file could not be read and was set aside as %s; a new one was begun. Keep the file: nothing was deleted.",
			strings.Join(files, ", ")))
	}
	if wrong := d.limitsWrong.Load(); wrong != nil {
		worse(&c, alarm.Warning, d.started, "the limits set on the page cannot be read")
		said = append(said, fmt.Sprintf("The configuration's limits count alone: %s. Set yours on the page again.", *wrong))
	}
	if d.away != nil && d.away() != "" {
		worse(&c, alarm.Warning, now, fmt.Sprintf("the clock leapt by more than %.0f days", clockLeap.Hours()/24))
		said = append(said, d.away())
	}
	if !b.unset.IsZero() && now.Sub(b.unset) >= clockPatience {
		worse(&c, alarm.Notice, b.unset, fmt.Sprintf("the clock is not set for %.0f min", clockPatience.Minutes()))
		said = append(said, "The board's clock has not been set: ages of litters and times of alarms may be wrong, and what was measured meanwhile gets its true time once it is set. Give it a network or a clock of its own, or set it by hand.")
	}
	return c, strings.Join(said, " ")
}

// holdsBook reports whether one of these files is the litter book's.
func holdsBook(files []string) bool {
	return slices.ContainsFunc(files, func(f string) bool { return strings.HasPrefix(filepath.Base(f), "book.") })
}

func powerWords(d *daemon, now time.Time) (c alarm.Condition, text string) {
	if d.power == nil || !d.power() {
		return c, ""
	}
	worse(&c, alarm.Warning, now, "the board says that its voltage is too low")
	c.Source = "the board's own detector, 4.63 V ±5 % (raspberrypi/documentation)"
	return c, "The board's supply is too weak: readings and the card are at risk. Look at the plug, the cable and the battery."
}

func sinkWords(d *daemon, now time.Time) (c alarm.Condition, text string) {
	var said, failing, wrong, gone []string
	owes, all := false, d.sinks.health()
	mute := muteWords(all, d.sinks.now(), now, &c)
	if len(mute) > 0 {
		owes = true
		said = append(said, "No way to your phone works: nobody can be called ("+strings.Join(mute, ", ")+
			"). Look at the board's network and at what the configuration says below phone; until one works, look at the page and into the nests yourself.")
	}
	for _, p := range d.sinks.pumps {
		gone = append(gone, goneWords(p.Health(), d.sinks.now(), now, &c)...)
	}
	for _, s := range all {
		if s.Calls && len(mute) > 0 {
			continue // it is told already
		}
		lasts, patience := d.sinks.now().Sub(s.Since), sinkPatience
		if s.Misconfigured {
			patience = wrongPatience
		}
		if s.OK || s.Error == "" || s.Since.IsZero() || lasts < patience {
			continue
		}
		name := failure(s)
		owes = owes || s.Owes
		if s.Misconfigured {
			wrong = append(wrong, name)
		} else {
			failing = append(failing, name)
		}
		worse(&c, d.sinks.severity(s.Name), now.Add(-lasts), fmt.Sprintf("nothing gets through for %.0f min", patience.Minutes()))
	}
	if len(failing) > 0 {
		said = append(said, "Nothing gets through to "+strings.Join(failing, ", ")+". Look at the network, and at whatever is to receive it.")
	}
	if len(wrong) > 0 {
		said = append(said, "Set up wrongly, until you put it right: "+strings.Join(wrong, ", ")+".")
	}
	if owes {
		said = append(said, "What is owed waits in the archive.")
	}
	return c, strings.Join(append(said, gone...), " ")
}

// failure is a sink and what is wrong with it.
func failure(s exporter.SinkHealth) string {
	return fmt.Sprintf("%s (%s)", s.Name, strings.TrimPrefix(s.Error, s.Name+": "))
}

// muteWords lists every way to a phone and why it fails, once none has worked for deafAfter. at is the sinks' now.
func muteWords(all []exporter.SinkHealth, at, now time.Time, c *alarm.Condition) (said []string) {
	if !exporter.Mute(all) {
		return nil
	}
	var began time.Time // when the last of them failed
	for _, s := range all {
		if s.Calls {
			said = append(said, failure(s))
			if s.Since.After(began) {
				began = s.Since
			}
		}
	}
	lasts := at.Sub(began)
	if lasts < deafAfter {
		return nil
	}
	for range said { // each counts, as it did while another worked, so that this is told anew
		worse(c, alarm.Warning, now.Add(-lasts), fmt.Sprintf("no way to a phone works for %.0f min", deafAfter.Minutes()))
	}
	return said
}

// goneWords tells what a sink will not get any more by itself. at is the sinks' now.
func goneWords(s exporter.SinkHealth, at, now time.Time, c *alarm.Condition) (said []string) {
	if s.Refused > 0 && at.Sub(s.RefusedAt) < newsFor && !mended(s) {
		worse(c, alarm.Notice, now.Add(-at.Sub(s.RefusedAt)), "something was refused for good")
		said = append(said, fmt.Sprintf("%s refused %d readings for good (%s). They stay in the archive: nestmon export --refused lists them, and how to send them again when that is mended.",
			s.Name, s.Refused, s.RefusedWhy))
	}
	if s.Pruned > 0 && at.Sub(s.PrunedAt) < newsFor {
		worse(c, alarm.Notice, now.Add(-at.Sub(s.PrunedAt)), "polls grew too old before they were sent")
		said = append(said, fmt.Sprintf("%d polls grew too old in the archive before %s took them, and are gone but for their hourly means: mend it soon.", s.Pruned, s.Name))
	}
	return said
}

// mended reports whether all that was refused may have been sent again since.
func mended(s exporter.SinkHealth) bool {
	return s.Backfill != nil && !s.Backfill.Stopped && s.Backfill.Ended.After(s.RefusedAt)
}
