package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/exporter/web"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
)

// swung puts days of readings of swinging boxes into an archive, one a minute.
func swung(t *testing.T, folder string, from time.Time, days int) {
	t.Helper()
	probes := victimConfig(t, folder, "http://127.0.0.1:1/").probes()
	a, err := archive.Open(folder, archive.Options{Probes: probes, Now: func() time.Time { return from.AddDate(0, 0, days) }})
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	_, err = a.PutOlder(probes, func(yield func(exporter.StoredPoll, error) bool) {
		for at := from; at.Before(from.AddDate(0, 0, days)); at = at.Add(time.Minute) {
			readings := swinging{func() time.Time { return at }, probes}.Read(t.Context())
			for i := range readings {
				readings[i].Value = math.Round(readings[i].Value*100) / 100
			}
			if !yield(exporter.StoredPoll{Time: at, Readings: readings}, nil) {
				return
			}
		}
	})
	if err != nil {
		t.Fatal(err)
	}
}

// A preview raises, by both tables, what nestmon replay raises of the same readings, event by event.
func TestPreviewIsTheReplay(t *testing.T) {
	folder := barnFolder(t)
	swung(t, folder, demoStart, 3)
	b := newBarn(t, folder, demoStart.AddDate(0, 0, 3))
	defer b.stop()
	c := 27.0
	next, err := b.d.cfg.wish(web.LimitWish{Limits: []web.WishedLimit{{Place: brood.NestAir, Key: "heat_warn", From: 0, To: 99, C: &c}}}, b.pace.Now())
	if err != nil {
		t.Fatal(err)
	}
	back := b.d.newLookback(b.pace.Now(), next)
	var heard [2]bytes.Buffer
	back.prepared = func() {
		for i, s := range back.sides {
			enc := json.NewEncoder(&heard[i])
			enc.SetEscapeHTML(false)
			s.heard = func(e alarm.Event) {
				e.Source = "" // names the page, or the configuration
				if err := enc.Encode(e); err != nil {
					t.Error(err)
				}
			}
		}
	}
	result, err := back.run(t.Context(), func(float64) {})
	if err != nil {
		t.Fatal(err)
	}
	readings := filepath.Join(folder, "readings.csv")
	yaml := fmt.Sprintf("data: %s\nprobes:\n", folder)
	for i := range 4 {
		yaml += fmt.Sprintf("- {id: box-%d, source: recorded}\n", i)
	}
	yaml += "nests:\n"
	for i := range 4 {
		yaml += fmt.Sprintf("- {id: box-%d, kind: wooden-box, air: box-%[1]d}\n", i)
	}
	for i, limits := range []string{"", "limits: {nest_air: [{from: 0, to: 99, heat_warn: 27}]}\n"} {
		file := filepath.Join(folder, fmt.Sprintf("%d.yaml", i))
		plant(t, file, yaml+limits)
		if code, _, errs := calling(t, "export", "--config", file, "--from", demoStart.Format(time.RFC3339), "--to", b.pace.Now().Format(time.RFC3339), "--out", readings); code != exitDone {
			t.Fatalf("export: %d %s", code, errs)
		}
		code, out, errs := calling(t, "replay", "--config", file, "--readings", readings, "--summary")
		if code != exitDone || strings.Count(out, "\n") < 20 {
			t.Fatalf("replay: %d %s %s", code, out, errs)
		}
		if want := sourceless(t, out); want != heard[i].String() {
			t.Errorf("side %d: the replay says\n%s\nthe preview\n%s", i, want, heard[i].String())
		}
	}
	if result.Polls != 3*24*60 || result.Nests[0].Data != 72 || result.Nests[0].Hours != 720 || result.Nests[0].Judged["heat"] < 71 {
		t.Errorf("%d polls, %+v", result.Polls, result.Nests[0])
	}
	if heat := kindOf(result, "box-0", alarm.NestHeat); heat.Then.Hours <= heat.Now.Hours || heat.Now.Alarms == 0 {
		t.Errorf("heat %+v", heat)
	}
	if len(result.Differ)+len(result.Come) == 0 || len(result.Go) != 0 {
		t.Errorf("%d come, %d go, %d differ", len(result.Come), len(result.Go), len(result.Differ))
	}
	if d := result.Differ[0]; d.Then.From.After(d.Now.From) || !d.Then.To.After(*d.Now.To) {
		t.Errorf("under a stricter limit %+v", d)
	}
}

func kindOf(r *web.PreviewResult, nest string, event alarm.Name) web.PreviewKind {
	for _, k := range r.Kinds {
		if k.Nest == nest && k.Event == event {
			return k
		}
	}
	return web.PreviewKind{}
}

// sourceless leaves out of events where their limits come from.
func sourceless(t *testing.T, lines string) string {
	t.Helper()
	var out bytes.Buffer
	enc := json.NewEncoder(&out)
	enc.SetEscapeHTML(false)
	for line := range strings.Lines(lines) {
		var e alarm.Event
		if err := json.Unmarshal([]byte(line), &e); err != nil {
			t.Fatal(err)
		}
		e.Source = ""
		if err := enc.Encode(e); err != nil {
			t.Fatal(err)
		}
	}
	return out.String()
}

// Over the page: one at a time, behind the login, with progress; it can be stopped, and polls go on meanwhile.
func TestPreviewOfThePage(t *testing.T) {
	folder := barnFolder(t)
	swung(t, folder, demoStart, 3)
	b := newBarn(t, folder, demoStart.AddDate(0, 0, 3))
	v, leave := b.visit(t)
	defer leave()
	const kind, path, body = "application/json", "/api/settings/preview", `{"revision":0,"limits":[{"place":"nest_air","key":"heat_warn","from":0,"to":99,"limit_c":26}]}`
	look := func() (p web.Preview) {
		if err := json.Unmarshal([]byte(v.get(path, http.StatusOK)), &p); err != nil {
			t.Fatal(err)
		}
		return p
	}
	if p := look(); p.State != web.PreviewNone {
		t.Errorf("%+v", p)
	}
	v.post(path, kind, body, http.StatusUnauthorized)
	v.post("/api/login", kind, `{"password":"willow-7741"}`, http.StatusOK)
	v.post(path, kind, strings.Replace(body, "26", "86", 1), http.StatusUnprocessableEntity)
	v.post(path, kind, body, http.StatusOK)
	if said := v.post(path, kind, body, http.StatusUnprocessableEntity); !strings.Contains(said, "a look back is under way") {
		t.Error(said)
	}
	b.poll(24, 2*stepOf)
	v.post(path+"/stop", kind, `{}`, http.StatusOK)
	if p := look(); p.State != web.PreviewStopped || p.Result != nil {
		t.Errorf("stopped, it is %s", p.State)
	}
	v.post(path, kind, body, http.StatusOK)
	for end := time.Now().Add(time.Minute); look().State == web.PreviewRunning; time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatal("it does not end")
		}
	}
	p := look()
	if p.State != web.PreviewDone || p.Done != 1 || p.Result == nil || p.Result.Counts[0]+p.Result.Counts[2] == 0 || *p.Wish[0].C != 26 {
		t.Errorf("%+v", p)
	}
	if s := v.settings(); s.Revision != 0 || inForce(t, s, brood.NestAir, "heat_warn", 5).C != 30 {
		t.Errorf("a look changed what is in force: %+v", s.Limits)
	}
	v.post(path, kind, body, http.StatusOK)
	b.stop() // with one under way
	if p := b.d.Preview(); p.State == web.PreviewRunning {
		t.Error("it outlives the daemon")
	}
}

// What one limit raises as one long alarm another may raise as several: the first is the same, the others come.
func TestSpellsAreCompared(t *testing.T) {
	at := func(h float64) time.Time { return demoStart.Add(time.Duration(h * float64(time.Hour))) }
	one := func(from, to float64) *web.PreviewSpell {
		end := at(to)
		return &web.PreviewSpell{Nest: "oak", Event: alarm.NestHeat, Severity: alarm.Warning, From: at(from), To: &end}
	}
	open := &web.PreviewSpell{Nest: "oak", Event: alarm.NestHeat, Severity: alarm.Warning, From: at(20)}
	for name, c := range map[string]struct {
		now, then         []*web.PreviewSpell
		come, gone, moved int
	}{
		"the same":      {[]*web.PreviewSpell{one(1, 2), open}, []*web.PreviewSpell{one(1, 2), open}, 0, 0, 0},
		"one more":      {[]*web.PreviewSpell{one(1, 2)}, []*web.PreviewSpell{one(1, 2), one(3, 4)}, 1, 0, 0},
		"one less":      {[]*web.PreviewSpell{one(1, 2), one(3, 4)}, []*web.PreviewSpell{one(3, 4)}, 0, 1, 0},
		"earlier":       {[]*web.PreviewSpell{one(2, 4)}, []*web.PreviewSpell{one(1, 4)}, 0, 0, 1},
		"cut in pieces": {[]*web.PreviewSpell{one(1, 9)}, []*web.PreviewSpell{one(2, 3), one(5, 6)}, 1, 0, 1},
		"not over":      {[]*web.PreviewSpell{open}, []*web.PreviewSpell{one(20, 22)}, 0, 0, 1},
		"elsewhere":     {[]*web.PreviewSpell{one(1, 2)}, []*web.PreviewSpell{one(2, 3)}, 1, 1, 0},
	} {
		t.Run(name, func(t *testing.T) {
			var r web.PreviewResult
			compare(&r, c.now, c.then)
			if len(r.Come) != c.come || len(r.Go) != c.gone || len(r.Differ) != c.moved {
				t.Errorf("%d come, %d go, %d differ", len(r.Come), len(r.Go), len(r.Differ))
			}
		})
	}
}

// Limits that raise alarms without end are told apart from a machine that hangs.
func TestTooManyAlarms(t *testing.T) {
	o := &outlook{open: map[place]*web.PreviewSpell{}}
	var err error
	for i := 0; err == nil && i <= mostSpells; i++ {
		e := alarm.Event{Nest: "oak", Name: alarm.NestHeat, State: alarm.Raised, Severity: alarm.Warning, Time: demoStart.Add(time.Duration(2*i) * time.Minute)}
		if err = o.note(e); err == nil {
			e.State, e.Time = alarm.Cleared, e.Time.Add(time.Minute)
			err = o.note(e)
		}
	}
	if err == nil || !strings.Contains(err.Error(), "more than 20000 alarms") {
		t.Errorf("%v", err)
	}
}
