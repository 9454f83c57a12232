package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"nestmon/sensors"
	"nestmon/sensors/kernel"
	"nestmon/sensors/radio"
)

var probesCommand = command{"probes", "list what the buses hold; tell probes apart; compare one with ice", runProbes}

const probesUsage = `probes [list|identify|ice-point] [--config F] [--probe P] [--json]
  list                   every bus and what hangs on it, bound to a nest or free
  identify               warm one probe in the hand and learn which it is
  ice-point --probe P    compare a sealed probe with melting ice and store its offset`

// bench is what a probes command works with; tests bring their own.
type bench struct {
	root  string
	file  string
	cfg   *config // nil without a configuration that can be used
	json  bool
	std   stdio
	now   func() time.Time
	sleep func(ctx context.Context, d time.Duration)
}

func runProbes(ctx context.Context, args []string, std stdio) int {
	action := "list"
	if len(args) > 0 && args[0] != "" && args[0][0] != '-' {
		action, args = args[0], args[1:]
	}
	flags := flags("probes", probesUsage, std)
	file := flags.String("config", installedConfig, "configuration `file`; without one nothing is bound")
	root := flags.String("root", "/", "`folder` below which the kernel shows its devices in sys/")
	probe := flags.String("probe", "", "the `probe` to compare: its id, or its number as the list shows it")
	asJSON := flags.Bool("json", false, "print JSON: one value for the list, a line for each finding otherwise")
	if code, ok := parse(flags, args); !ok {
		return code
	}
	b := bench{root: *root, file: *file, json: *asJSON, std: std, now: time.Now, sleep: pause}
	if err := b.configure(given(flags)["config"]); err != nil {
		return wrongUse(flags, err)
	}
	switch action {
	case "list":
		return b.list(ctx)
	case "identify":
		return b.identify(ctx)
	case "ice-point":
		return b.icePoint(ctx, *probe)
	}
	return wrongUse(flags, fmt.Errorf("action %q is unknown; write one of: list, identify, ice-point", action))
}

func pause(ctx context.Context, d time.Duration) {
	select {
	case <-ctx.Done():
	case <-time.After(d):
	}
}

// configure reads the configuration where there is one: a machine may be looked at before anything is written, and a file that is half
// written shall not hide the buses it is to be written from.
func (b *bench) configure(named bool) error {
	if _, err := os.Stat(b.file); !named && errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	c, findings, err := loadConfig(b.file)
	if err != nil {
		return err
	}
	if anyError(findings) {
		writeFindings(b.std.err, b.file, findings)
		fmt.Fprintf(b.std.err, "nestmon probes: %s cannot be used yet; all probes are shown as free\n", b.file)
		return nil
	}
	if _, notes, err := c.takeOffsets(b.root, b.now()); err != nil || len(notes) > 0 {
		fmt.Fprintln(b.std.err, strings.Join(append(notes, errorText(err)...), "\n"))
	}
	b.cfg = c
	return nil
}

func errorText(err error) []string {
	if err == nil {
		return nil
	}
	return []string{err.Error()}
}

// ask asks the running daemon; nil when there is none.
func (b *bench) ask(ctx context.Context) *daemonView {
	if b.cfg == nil {
		return nil
	}
	var d daemonView
	if err := call(b.cfg.Control).get(ctx, "/api/state", &d); err != nil {
		if errors.Is(err, errRefused) {
			fmt.Fprintf(b.std.err, "nestmon probes: %v; until then only what the kernel tells is shown\n", err)
			return &daemonView{silent: true}
		}
		return nil
	}
	return &d
}

// longRead is how long a person waits without asking what goes on; ours, no source.
const longRead = 2 * time.Second

func (b *bench) list(ctx context.Context) int {
	s := find(ctx, b.root, b.cfg, b.ask(ctx))
	if takes := s.takes(); takes > longRead {
		fmt.Fprintf(b.std.err, "Reading; this takes about %.0f s.\n", takes.Seconds())
	}
	s.read(ctx)
	if ctx.Err() != nil {
		return exitDone
	}
	var err error
	if b.json {
		err = printJSON(b.std.out, s)
	} else {
		err = s.write(b.std.out, b.cfg)
	}
	if err != nil {
		fmt.Fprintf(b.std.err, "nestmon probes: writing: %v\n", err)
		return exitWrongUse
	}
	return s.exit()
}

// takes is how long the longest bus is read.
func (s *survey) takes() (longest time.Duration) {
	for _, b := range s.Buses {
		var bus time.Duration
		for _, p := range b.Probes {
			if p.found.Read != nil && p.Health == nil {
				bus += p.found.Takes
			}
		}
		longest = max(longest, bus)
	}
	return longest
}

// exit is a finding when a configured probe is missing or gives nothing, or when there is nothing at all.
func (s *survey) exit() int {
	found := 0
	for _, b := range s.Buses {
		for _, p := range b.Probes {
			if found++; p.Place != nil && !p.answers() {
				return exitFinding
			}
		}
	}
	if found == 0 || slices.ContainsFunc(s.Missing, func(l surveyLost) bool { return !l.Unseen }) {
		return exitFinding
	}
	return exitDone
}

func (p surveyProbe) answers() bool {
	return slices.ContainsFunc(p.Values, func(v surveyMeasured) bool { return v.Value != nil })
}

func (s *survey) write(out io.Writer, c *config) error {
	unit := "celsius"
	if c != nil {
		unit = c.Site.Display
	}
	w := bufio.NewWriter(out)
	widths := s.widths(unit)
	for i, b := range s.Buses {
		if i > 0 {
			fmt.Fprintln(w)
		}
		fmt.Fprintf(w, "bus %s\n", b.Bus)
		switch {
		case b.unused:
			fmt.Fprintf(w, "  nothing, and no matter unless you use one: %s\n", b.Problem)
		case b.Problem != "":
			fmt.Fprintf(w, "  nothing: %s\n", b.Problem)
		}
		for _, p := range b.Probes {
			p.write(w, unit, widths)
		}
		for _, n := range b.Notes {
			fmt.Fprintf(w, "  (%s)\n", n)
		}
		if b.Problem == "" && len(b.Probes) == 0 && !b.held {
			fmt.Fprintln(w, "  no probe answers; look at the plugs, the cable and the supply")
		}
		if b.held && !slices.ContainsFunc(b.Probes, func(p surveyProbe) bool { return p.found.Read != nil && p.Source != kernel.Kind }) {
			fmt.Fprintln(w, "  (the daemon reads this bus: a probe that is free may not show until it is stopped)")
		}
	}
	for i, l := range s.Missing {
		if i == 0 {
			fmt.Fprintln(w, "\nconfigured, and not seen on a bus")
		}
		fmt.Fprintf(w, "  %-*s  %s: %s\n", widths[0], l.Identity, l.text(), l.why(unit))
	}
	if s.free() > 0 {
		fmt.Fprintln(w, "\nTo bind a free probe write its line under probes, with an id of your own: - {id: a1-cluster, source: …}")
	}
	return w.Flush()
}

// widths are those of the first columns: identity, chip, values.
func (s *survey) widths(unit string) (widths [3]int) {
	for _, b := range s.Buses {
		for _, p := range b.Probes {
			for i, cell := range p.cells(unit) {
				widths[i] = max(widths[i], utf8.RuneCountInString(cell))
			}
		}
	}
	for _, l := range s.Missing {
		widths[0] = max(widths[0], utf8.RuneCountInString(l.Identity))
	}
	return widths
}

func (s *survey) free() (n int) {
	for _, b := range s.Buses {
		for _, p := range b.Probes {
			if p.Place == nil && p.Binds != "" {
				n++
			}
		}
	}
	return n
}

func (p surveyProbe) cells(unit string) [3]string {
	return [...]string{p.Identity, nonEmpty(p.Chip, "?"), measuredText(p.Values, unit)}
}

func (p surveyProbe) write(w io.Writer, unit string, widths [3]int) {
	said := "free: " + p.Binds
	switch {
	case p.Place != nil:
		said = p.Place.text()
	case len(p.MayBe) > 0:
		said = "something answers: " + strings.Join(p.MayBe, " or ") + "?"
	case p.Binds == "":
		said = "no probe for a nest"
	}
	if h := p.Health.text(); h != "" {
		said += "; " + h
	}
	for i, cell := range p.cells(unit) {
		fmt.Fprintf(w, "  %-*s", widths[i], cell)
	}
	fmt.Fprintf(w, "  %s\n", said)
	for _, n := range p.Notes {
		fmt.Fprintf(w, "    %s\n", n)
	}
}

func (at surveyPlace) text() string {
	switch {
	case at.Role == "":
		return at.Probe + ": in no nest"
	case at.Nest == "": // outside, battery
		return at.Probe + ": " + string(at.Role)
	}
	return fmt.Sprintf("%s: nest %s, %s", at.Probe, at.Nest, at.Role)
}

func (l surveyLost) why(unit string) string {
	if l.Health != nil && len(l.Health.Values) > 0 {
		return strings.TrimSuffix("the daemon reads "+measuredText(l.Health.Values, unit)+"; "+l.Health.text(), "; ")
	}
	if l.Source == radio.Kind {
		return "heard by the daemon only, and nothing came from it: is it running, and are you in the group nestmon?"
	}
	if l.Unseen {
		return "source " + l.Source + " cannot be searched; the daemon tells of it while it runs"
	}
	return "not there; look at its plug and cable, and compare its number"
}

// text says how the probe does.
func (h *probeHealth) text() string {
	if h == nil {
		return ""
	}
	var parts []string
	if h.Errors != nil {
		parts = append(parts, fmt.Sprintf("misses %.1f %%", 100**h.Errors))
	}
	for _, f := range sensors.Faults {
		if n := h.Rejected[f]; n > 0 {
			parts = append(parts, fmt.Sprintf("%s %d", f, n))
		}
	}
	if len(h.Doubts) > 0 {
		parts = append(parts, "IN DOUBT: "+strings.Join(h.Doubts, ", "))
	}
	return strings.Join(parts, ", ")
}

// measuredText writes values in the site's unit first.
func measuredText(values []surveyMeasured, unit string) string {
	var parts []string
	for _, v := range values {
		switch {
		case v.Value == nil && v.Fault != nil:
			parts = append(parts, *v.Fault)
		case v.Value == nil:
			parts = append(parts, "no value")
		case v.Quantity == sensors.Temperature.String():
			parts = append(parts, bothScales(*v.Value, unit))
		default:
			parts = append(parts, fmt.Sprintf("%.1f %s", *v.Value, v.Unit))
		}
	}
	if len(parts) == 0 {
		return "-"
	}
	return strings.Join(slices.Compact(parts), ", ")
}

// bothScales writes a temperature in both scales, the one people of the site read first.
func bothScales(c float64, unit string) string {
	celsius, fahrenheit := fmt.Sprintf("%.2f °C", c), fmt.Sprintf("%.1f °F", toFahrenheit(c))
	if unit == "fahrenheit" {
		return fahrenheit + " (" + celsius + ")"
	}
	return celsius + " (" + fahrenheit + ")"
}
