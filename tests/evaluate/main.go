// Command evaluate lets the decisions live through many simulated litters and prints how often they were right, beside plain
// fixed limits on the same readings in the same run.
//
//	go run ./tests/evaluate [-litters N] [-first-seed S] [-world usual|shifted|both] [-out DIR] [-cases] [-years N]
//	go run ./tests/evaluate -trace SEED [-rig N] [-world usual|shifted]
//
// Everything it prints is simulated: no litter was measured, and no figure here is evidence about a real nest. One litter is
// one world of its own seed, from day 27 after breeding to 16 days after birth, in steps of 30 s; nests, seasons, broods,
// scenarios and broken probes are drawn from the seed. Truth is the core of the mean kit, which no probe sees, against the
// study's own limits: colder than 33 °C (30 from day 7, 27 from day 12) for 30 min, hotter than 40 °C for 10 min.
//
// The keeper of this study enters the day of breeding, finds the litter 12 h after birth, counts it, and dates it where no
// kindling was called since; he does no chore and mends nothing. Does that never kindle are watched to day 36. A shifted
// world has other habits of probes and does than anything was tuned on: what holds there may hold in a nest.
package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
)

// options are the flags.
type options struct {
	litters int
	first   uint64
	world   string
	out     string
	cases   bool
	years   int
	trace   int64
	rig     int
}

func main() {
	var o options
	flag.IntVar(&o.litters, "litters", 200, "`litters` in each world")
	flag.Uint64Var(&o.first, "first-seed", 1000, "`seed` of the first litter; tune on others than you report")
	flag.StringVar(&o.world, "world", "both", "`world`: usual, shifted or both")
	flag.StringVar(&o.out, "out", "", "draw what was found against false alarms as SVG pictures into this `folder`; without it none are drawn")
	flag.BoolVar(&o.cases, "cases", false, "list single misses and false alarms too")
	flag.IntVar(&o.years, "years", 20, "`years` of weather for the season's table")
	flag.Int64Var(&o.trace, "trace", -1, "instead of tables print one litter's life, every danger and alarm by its time: that of this `seed`")
	flag.IntVar(&o.rig, "rig", 0, "which probes the nest of -trace has, a `number`: 0 one under the pile, 1 two under it, 2 one that is dead, 3 one, and the keeper entered no litter")
	flag.Parse()
	if err := evaluate(os.Stdout, os.Stderr, o); err != nil {
		fmt.Fprintf(os.Stderr, "evaluate: %v\n", err)
		os.Exit(1)
	}
}

func evaluate(w, progress io.Writer, o options) error {
	worlds, ok := map[string][]string{"usual": {"usual"}, "shifted": {"shifted"}, "both": {"usual", "shifted"}}[o.world]
	switch {
	case !ok:
		return fmt.Errorf("-world %q is no world; write one of: usual, shifted, both", o.world)
	case o.litters < 1:
		return fmt.Errorf("-litters %d is no number of litters; write 1 or more", o.litters)
	case o.rig < 0 || rig(o.rig) >= numRigs:
		return fmt.Errorf("-rig %d is no rig; write 0 to %d", o.rig, numRigs-1)
	case o.trace >= 0:
		return traceLitter(w, uint64(o.trace), o.world == "shifted", rig(o.rig))
	}
	if _, err := fmt.Fprint(w, key); err != nil {
		return err
	}
	for _, name := range worlds {
		records, err := observeAll(o.first, o.litters, name == "shifted", func(n int) {
			if n%20 == 0 {
				fmt.Fprintf(progress, "%s world: %d of %d litters\n", name, n, o.litters)
			}
		})
		if err != nil {
			return err
		}
		p := &report{w: w, world: name, first: o.first, commit: commit(), records: records}
		if err := p.print(o); err != nil {
			return err
		}
	}
	if o.years == 0 {
		return nil
	}
	return seasonTable(w, o.first, o.years)
}

// key explains the words of the tables.
const key = `How to read this; all of it is simulated.
deep           a chill in which the core of the mean kit fell under 28 °C (82 °F): what kills
strict window  an alarm finds a danger from 3 h before its onset, or from its cause where that is later, to 3 h after
ref.           found in a wider window, which begins with the cause where that is earlier: for reference only
chance         what an alarm that sounds as often and as long, but knows nothing, would find: a figure near it is worth nothing
edges          beginnings of alarms; "of hits standing" had begun before the window already
stands         the share of time in which the alarm is on
`

func (p *report) print(o options) error {
	chill, heat := p.chill(), p.heat()
	p.split("Chill, split", []rule{plainly("fixed < 25, 10 min"), chillRules(oneProbe)[0], chillRules(oneProbe)[2], chillRules(twoProbes)[0]}, chillsOf)
	p.split("Heat, split", []rule{plainly(fixedHeat[0].name), heatRules(oneProbe)[1], heatRules(oneProbe)[2], heatRules(oneProbe)[3]}, hotsOf)
	k, v := p.kindling(), p.visits()
	p.duties()
	p.drifts(max(len(p.records)/driftEach, 1))
	p.bedding()
	p.learnedTable()
	p.neighbours(max(len(p.records)/villageEach, 1))
	p.burden()
	p.goals(k, v)
	if o.cases {
		p.cases()
	}
	if o.out == "" || p.err != nil {
		return p.err
	}
	said := fmt.Sprintf("SIMULATED, %s world, seeds %d-%d, %d litters", p.world, p.first, p.first+uint64(len(p.records))-1, len(p.records))
	for _, picture := range []struct {
		file string
		plot plot
	}{
		{"chill-deep", plot{"Deep chill: found against false alarms", said, points(chill, true)}},
		{"chill", plot{"Chill: found against false alarms", said, points(chill, false)}},
		{"heat", plot{"Heat: found against false alarms", said, points(heat[:len(fixedHeat)+2*len(heatRules(oneProbe))], false)}},
	} {
		if err := save(filepath.Join(o.out, picture.file+"-"+p.world+".svg"), &picture.plot); err != nil {
			return err
		}
	}
	return nil
}

func save(file string, p *plot) error {
	if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
		return err
	}
	f, err := os.Create(file)
	if err != nil {
		return err
	}
	return errors.Join(p.write(f), f.Close())
}

// commit names the state of the sources, where git can tell.
func commit() string {
	out, err := exec.Command("git", "rev-parse", "--short", "HEAD").Output()
	if err != nil {
		return ""
	}
	return ", commit " + strings.TrimSpace(string(out))
}
