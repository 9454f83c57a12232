package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/exporter/web"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
)

// ownLimits are the limits that were set on the page. They lie over the configuration's, which is the keeper's and is never written; a file
// beside the archive holds them, so that every command finds what is in force.
type ownLimits struct {
	Revision int               `json:"revision"`
	Limits   brood.Settings    `json:"limits"`
	Changes  []web.LimitChange `json:"changes"` // the newest last
}

// Of the file; ours, no source. What was changed before is in the journal.
const (
	keptChanges   = 50
	largestLimits = 1 << 20 // bytes
)

// takeLimits reads the limits that were set on the page, and says which of them are not in force and why. Where they cannot be read the
// configuration's stand alone.
func (c *config) takeLimits() (aside []string, err error) {
	own, err := readLimits(c.limitsFile())
	if err != nil {
		return nil, fmt.Errorf("limits set on the page are not in force: %w", err)
	}
	c.own.Store(own)
	for _, a := range c.setAside() {
		aside = append(aside, fmt.Sprintf("%s %s, days %d-%d, set on the page to %g °C by %s, is not in force: %s", a.Place, a.Key, a.From, a.To, a.C, a.By, a.Why))
	}
	return aside, nil
}

func (c *config) limitsFile() string { return filepath.Join(c.Data, archive.LimitsFile) }

// withLimits takes the limits set on the page for a command, which says what of them it leaves out.
func (c *config) withLimits(command string, std stdio) {
	aside, err := c.takeLimits()
	if err != nil {
		aside = append(aside, err.Error())
	}
	for _, what := range aside {
		fmt.Fprintf(std.err, "nestmon %s: %s\n", command, what)
	}
}

// readLimits reads the file; there may be none.
func readLimits(file string) (*ownLimits, error) {
	st, err := os.Stat(file)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return &ownLimits{}, nil
	case errors.Is(err, fs.ErrPermission):
		return nil, fmt.Errorf("%w; ask as the daemon's user: sudo -u nestmon nestmon …", err)
	case err != nil:
		return nil, err
	case st.Size() > largestLimits:
		return nil, fmt.Errorf("%s is larger than nestmon writes it; remove it, and set them again", file)
	}
	text, err := os.ReadFile(file)
	if err != nil {
		return nil, fmt.Errorf("%w; ask as the daemon's user, or as one of its group", err)
	}
	var own ownLimits
	in := json.NewDecoder(bytes.NewReader(text))
	in.DisallowUnknownFields()
	err = in.Decode(&own)
	if err == nil && (own.Revision < 1 || in.More()) { // what nestmon never writes; none at all would pass for "none set"
		err = errors.New("it is not as nestmon writes it")
	}
	if err != nil {
		return nil, fmt.Errorf("%s is damaged, or of a newer nestmon (%w); install the newer program again, or remove the file and set them again", file, err)
	}
	return &own, nil
}

// owned is what was set on the page.
func (c *config) owned() ownLimits {
	if own := c.own.Load(); own != nil {
		return *own
	}
	return ownLimits{}
}

// tables are the limits in force: as shipped, over them the configuration's, over these the page's, as far as they fit.
func (c *config) tables() brood.Tables { return c.tablesWith(c.owned().Limits) }

func (c *config) tablesWith(own brood.Settings) brood.Tables {
	base := c.Limits.Tables()
	fit, _ := own.Fitting(base)
	return fit.Over(base)
}

// setAside lists what was set on the page and does not fit the configuration any more.
func (c *config) setAside() []web.LimitAside {
	own := c.owned().Limits
	_, not := own.Fitting(c.Limits.Tables())
	all := []web.LimitAside{}
	for i, s := range own {
		if why, out := not[i]; out {
			all = append(all, web.LimitAside{Setting: s, Why: why})
		}
	}
	return all
}

// ownLines say what of the page is in force.
func (c *config) ownLines() (all []string) {
	own := c.owned().Limits
	base := c.Limits.Tables()
	_, not := own.Fitting(base)
	for i, s := range own {
		if _, out := not[i]; !out {
			all = append(all, fmt.Sprintf("%s %s, days %d-%d: %g °C (%.1f °F), set on the page by %s on %s", s.Place, s.Key, s.From, s.To, s.C, toFahrenheit(s.C), plain(s.By), s.At.In(c.location()).Format("2006-01-02 15:04")))
		}
	}
	return all
}

// wish is what comes of what somebody wants: the settings, their tables, and what of them changes.
type wish struct {
	own    brood.Settings
	before brood.Tables // in force until then
	tables brood.Tables
	items  []web.LimitStepTo
}

// wish works out what comes of a wish, and refuses it by the rules of a configuration.
func (c *config) wish(w web.LimitWish, now time.Time) (out wish, err error) {
	have := c.owned()
	if w.Revision != have.Revision {
		return out, web.ErrChanged
	}
	base := c.Limits.Tables()
	out.own, _ = have.Limits.Fitting(base) // what does not fit is forgotten with the next change
	for _, l := range w.Limits {
		if l.C == nil {
			out.own = out.own.Without(l.Place, l.Key, l.From, l.To)
			continue
		}
		one := brood.Setting{Place: l.Place, Key: l.Key, From: l.From, To: l.To, C: *l.C, By: w.By, At: now}
		out.own = out.own.With(one)
	}
	out.own.Validate(base, func(i int, problem string) {
		if err == nil {
			err = fmt.Errorf("%s: %s", out.own[i].Place, problem)
		}
	})
	if err != nil {
		return out, err
	}
	out.before, out.tables = c.tables(), out.own.Over(base)
	out.items = steps(&out.before, &out.tables, out.own)
	if len(out.items) == 0 && len(out.own) >= len(have.Limits) {
		return out, errors.New("this changes nothing: these limits are in force already")
	}
	return out, nil
}

var placeWords = map[brood.Place]string{brood.NestAir: "nest air", brood.Cluster: "the pile of kits"}

// limitWords are a limit's keys, as the page calls them.
var limitWords = map[string]string{
	"cold_warn": "cold", "cold_critical": "cold, urgent", "heat_warn": "hot", "heat_critical": "hot, urgent", "chill_warn": "cold", "chill_critical": "cold, urgent",
}

// steps lists what differs between two tables.
func steps(before, after *brood.Tables, own brood.Settings) (all []web.LimitStepTo) {
	for _, p := range brood.Places {
		was, is := before.Rows(p), after.Rows(p)
		for k, key := range p.Keys() {
			for i, j := 0, 0; i < len(was) && j < len(is); {
				from, to := max(was[i].From, is[j].From), min(was[i].To, is[j].To)
				if a, b := was[i].Limits[k].C, is[j].Limits[k].C; a != b {
					_, set := own.Of(p, key, from)
					step := web.LimitStepTo{Place: p, Key: key, From: from, To: to, Was: a, Is: b, Back: !set}
					if n := len(all) - 1; n >= 0 && all[n] == (web.LimitStepTo{Place: p, Key: key, From: all[n].From, To: from - 1, Was: a, Is: b, Back: !set}) {
						all[n].To = to
					} else {
						all = append(all, step)
					}
				}
				if was[i].To == to {
					i++
				}
				if is[j].To == to {
					j++
				}
			}
		}
	}
	return all
}

// inJournal says a change in one line.
func inJournal(c web.LimitChange) string {
	if len(c.Items) == 0 {
		return "limits taken back that were the configuration's too"
	}
	var all []string
	for _, i := range c.Items {
		text := fmt.Sprintf("%s, %s, days %d-%d: from %g °C (%.1f °F) to %g °C (%.1f °F)", placeWords[i.Place], limitWords[i.Key], i.From, i.To, i.Was, toFahrenheit(i.Was), i.Is, toFahrenheit(i.Is))
		if i.Back {
			text += " (the configuration's again)"
		}
		all = append(all, text)
	}
	return strings.Join(all, "; ")
}

func actOf(c web.LimitChange) alarm.Act {
	return alarm.Act{Action: alarm.SetLimits, By: c.By, At: c.At, What: inJournal(c)}
}

// openLimits takes the limits set on the page at the start.
func (d *daemon) openLimits() {
	aside, err := d.cfg.takeLimits()
	if err != nil {
		wrong := err.Error()
		d.limitsWrong.Store(&wrong)
		d.log.Error("limits", "err", err)
	}
	for _, what := range aside {
		d.log.Warn("limits", "note", what)
	}
}

// journalChanges puts into the journal what a power cut kept out of it; what it has it keeps once.
func (d *daemon) journalChanges() {
	var acts []alarm.Act
	for _, c := range d.cfg.owned().Changes {
		acts = append(acts, actOf(c))
	}
	if len(acts) > 0 {
		d.journalLimits(acts)
	}
}

func (d *daemon) journalLimits(acts []alarm.Act) {
	now := d.pace.Now()
	err := d.card.write(func() error {
		return d.archive.Commit(exporter.Commit{Time: now, Synced: d.trusted(now), Acts: acts})
	})
	if err != nil {
		d.log.Warn("the change of limits counts, and is not in the journal before the next start", "err", err)
	}
}

// SetLimits puts a wish in force: stored first, judged by from the next minute on, after a restart too.
func (d *daemon) SetLimits(ctx context.Context, w web.LimitWish) error {
	return d.command(ctx, func() error {
		now := d.pace.Now()
		at := now.UTC().Truncate(time.Millisecond)
		if err := d.sureLimits(); err != nil {
			return err
		}
		next, err := d.cfg.wish(w, at)
		if err != nil {
			return err
		}
		if laxer := next.tables.LaxerThan(&next.before); len(laxer) > 0 && !w.Sure {
			l := laxer[0]
			return fmt.Errorf("a limit for %s of %g °C (%.1f °F) at days %d-%d lets pass what the shipped one of %g °C (%.1f °F) does not: %w",
				placeWords[l.Place], l.C, toFahrenheit(l.C), l.From, l.To, l.Shipped.C, toFahrenheit(l.Shipped.C), web.ErrUnsure)
		}
		change := web.LimitChange{At: at, By: w.By, Items: next.items}
		have := d.cfg.owned()
		own := ownLimits{Revision: have.Revision + 1, Limits: next.own, Changes: append(slices.Clone(have.Changes), change)}
		own.Changes = own.Changes[max(len(own.Changes)-keptChanges, 0):]
		switch err := d.keepLimits(&own); {
		case errors.Is(err, errCard):
			return fmt.Errorf("nothing is changed now, but it may count after a restart, for it may have been stored: %w; look at the card, then set it again", err)
		case err != nil:
			return fmt.Errorf("nothing is changed, for it could not be stored: %w", err)
		}
		d.cfg.own.Store(&own)
		d.judge.rabbitry.SetLimits(next.tables)
		d.journalLimits([]alarm.Act{actOf(change)})
		d.keepState(now, true) // what is judged again after a crash was lived under these limits
		d.showAgain(now)
		return nil
	})
}

// keepLimits stores them. A file that could not be read is kept beside.
func (d *daemon) keepLimits(own *ownLimits) error {
	text, err := json.MarshalIndent(own, "", "  ")
	if err != nil {
		return err
	}
	err = d.card.write(func() error {
		if file := d.cfg.limitsFile(); d.limitsWrong.Load() != nil { // it goes on to stand, and to be told, until another takes its place
			_ = os.Remove(file + ".broken")
			if err := os.Link(file, file+".broken"); err != nil && !errors.Is(err, fs.ErrNotExist) {
				return err
			}
		}
		return d.archive.PutLimits(append(text, '\n'))
	})
	switch {
	case err == nil:
		d.limitsWrong.Store(nil)
	case errors.Is(err, errCard):
		d.limitsUnsure = true
	}
	return err
}

// sureLimits reads the file again after a write that was left behind and may have ended since: then what it wrote counts.
func (d *daemon) sureLimits() error {
	if !d.limitsUnsure {
		return nil
	}
	var own *ownLimits
	err := d.card.write(func() (err error) {
		own, err = readLimits(d.cfg.limitsFile())
		return err
	})
	if err != nil {
		return fmt.Errorf("it is not known whether the change before was stored: %w", err)
	}
	d.limitsUnsure = false
	if own.Revision != d.cfg.owned().Revision {
		d.cfg.own.Store(own)
		d.judge.rabbitry.SetLimits(d.cfg.tables())
		d.limitsWrong.Store(nil)
	}
	return nil
}
