package main

import (
	"bytes"
	"encoding/json"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nestmon/exporter/archive"
	"nestmon/exporter/web"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
)

// settings is what the page is told.
func (v visitor) settings() (s web.Settings) {
	v.t.Helper()
	if err := json.Unmarshal([]byte(v.get("/api/settings", http.StatusOK)), &s); err != nil {
		v.t.Fatal(err)
	}
	return s
}

// inForce is one number of them.
func inForce(t *testing.T, s web.Settings, p brood.Place, key string, day int) web.LimitFact {
	t.Helper()
	for _, row := range s.Limits {
		for _, l := range row.Limits {
			if row.Place == p && l.Key == key && row.From <= day && day <= row.To {
				return l
			}
		}
	}
	t.Fatalf("no %s %s of day %d", p, key, day)
	return web.LimitFact{}
}

// Limits set on the page count at once and after a restart, kill or not; they lie over the configuration, and every command knows of them.
func TestLimitsOfThePage(t *testing.T) {
	folder := barnFolder(t)
	file := filepath.Join(folder, "nestmon.yaml")
	plant(t, file, "data: "+folder+"\ncontrol: "+folder+"/control\nprobes: [{id: box-0, source: recorded}]\nnests: [{id: box-0, kind: wooden-box, air: box-0}]\n"+
		"limits:\n  nest_air:\n  - {from: 0, to: 3, heat_warn: 29}\n")
	layered := func(c *config) { c.Limits.NestAir = []brood.AirRow{{From: new(0), To: new(3), HeatWarn: new(29.0)}} }
	b := newBarn(t, folder, demoStart, layered)
	b.poll(24, time.Hour)
	b.poll(31, 40*time.Minute)
	if b.status("box-0") != alarm.Unacknowledged {
		t.Fatalf("box-0 is %s in 31 °C", b.status("box-0"))
	}
	v, leave := b.visit(t)
	const kind, path = "application/json", "/api/settings/limits"
	change := func(revision, c, more string) string {
		return `{"revision":` + revision + `,"by":"Anna's\u0007 phone","limits":[{"place":"nest_air","key":"heat_warn","from":0,"to":3,"limit_c":` + c + `}]` + more + `}`
	}
	v.post(path, kind, change("0", "33", ""), http.StatusUnauthorized)
	v.post("/api/login", kind, `{"password":"willow-7741"}`, http.StatusOK)
	for _, refused := range []struct {
		body, want string
		status     int
	}{
		{change("7", "28", ""), "were changed since", http.StatusConflict},
		{change("0", "35", ""), "heat_warn 35 °C is not below heat_critical 35 °C", http.StatusUnprocessableEntity},
		{change("0", "29", ""), "changes nothing", http.StatusUnprocessableEntity},
		{change("0", "33", ""), "lets pass what the shipped one of 30 °C (86.0 °F) does not: say that you are sure", http.StatusConflict},
		{strings.Replace(change("0", "28", ""), "heat_warn", "heat_worn", 1), "write one of: cold_warn", http.StatusUnprocessableEntity},
		{strings.Replace(change("0", "28", ""), `"by"`, `"buy"`, 1), "not the JSON object", http.StatusBadRequest},
		{`{"revision":0,"by":"","limits":[]}`, "send 1 to 200 limits", http.StatusBadRequest},
	} {
		if said := v.post(path, kind, refused.body, refused.status); !strings.Contains(said, refused.want) {
			t.Errorf("%s: %s, want %s", refused.body, said, refused.want)
		}
	}
	if _, err := os.Stat(filepath.Join(folder, archive.LimitsFile)); err == nil {
		t.Error("what was refused is stored")
	}
	remembered := func() []byte {
		b, err := os.ReadFile(filepath.Join(folder, "state"))
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	before := remembered()
	v.post(path, kind, change("0", "33", `,"sure":true`), http.StatusOK)
	if bytes.Equal(before, remembered()) {
		t.Error("after a crash, minutes before the change would be judged by the new limit")
	}
	s := v.settings()
	if l := inForce(t, s, brood.NestAir, "heat_warn", 2); l.C != 33 || l.Beneath != 29 || l.ShippedC != 30 || l.Origin != web.FromPage || *l.By != "Anna's phone" || s.Revision != 1 {
		t.Errorf("in force is %+v at revision %d", l, s.Revision)
	}
	if len(s.Changes) != 1 || s.Changes[0].Items[0] != (web.LimitStepTo{Place: brood.NestAir, Key: "heat_warn", From: 0, To: 3, Was: 29, Is: 33}) {
		t.Errorf("changes %+v", s.Changes)
	}
	if b.status("box-0") != alarm.Unacknowledged {
		t.Errorf("the change itself made box-0 %s", b.status("box-0"))
	}
	b.poll(31, 5*time.Minute)
	if got := b.status("box-0"); got != "" {
		t.Errorf("in 31 °C under 33, box-0 is %s", got)
	}
	st, err := os.Stat(filepath.Join(folder, archive.LimitsFile))
	if err != nil || st.Mode().Perm() != 0o640 {
		t.Errorf("%v, %v", st, err)
	}
	for command, want := range map[string]string{
		"limits --age 2 --kind wooden-box": "set on the page by Anna's phone on 2031-09-08, days 0-3",
		"alarms journal":                   "limits         nest air, hot, days 0-3: from 29 °C (84.2 °F) to 33 °C (91.4 °F) by Anna's phone",
		"status":                           "limits   1 of 40 are set on the page, over the configuration",
		"check":                            "limits    nest_air heat_warn, days 0-3: 33 °C (91.4 °F), set on the page by Anna's phone on 2031-09-08",
	} {
		if _, out, errs := calling(t, append(strings.Fields(command), "--config", file)...); !strings.Contains(out, want) {
			t.Errorf("%s says %s %s, want %s", command, out, errs, want)
		}
	}
	now := b.pace.Now()
	leave()
	state := remembered() // as a kill would leave it
	b.stop()
	plant(t, filepath.Join(folder, "state"), string(state))

	b = newBarn(t, folder, now, layered)
	b.poll(31, 30*time.Minute)
	if got := b.status("box-0"); got != "" {
		t.Errorf("after the restart, in 31 °C under 33, box-0 is %s", got)
	}
	again, leave := b.visit(t)
	again.http.Jar = cookies(v, again)
	if l := inForce(t, again.settings(), brood.NestAir, "heat_warn", 2); l.C != 33 {
		t.Errorf("after the restart %+v is in force", l)
	}
	again.post(path, kind, `{"revision":1,"by":"","limits":[{"place":"nest_air","key":"heat_warn","from":0,"to":3,"limit_c":null}]}`, http.StatusOK)
	s = again.settings()
	if l := inForce(t, s, brood.NestAir, "heat_warn", 2); l.C != 29 || l.Origin != web.FromFile || l.By != nil || !s.Changes[0].Items[0].Back || s.Changes[0].By != "page" {
		t.Errorf("back is %+v, %+v", l, s.Changes[0])
	}
	b.poll(31, 25*time.Minute)
	if got := b.status("box-0"); got != alarm.Unacknowledged {
		t.Errorf("in 31 °C under 29, box-0 is %s", got)
	}
	acts, err := b.d.archive.Acts(demoStart, now.AddDate(0, 0, 1), 10)
	if err != nil || len(acts) != 2 || acts[0].What != "nest air, hot, days 0-3: from 33 °C (91.4 °F) to 29 °C (84.2 °F) (the configuration's again)" {
		t.Errorf("the journal holds %+v, %v", acts, err)
	}
	leave()
	b.stop()
}

// What was set and does not fit a new configuration, and a file that is damaged, is told; the configuration's limits count.
func TestLimitsThatCannotCount(t *testing.T) {
	folder := barnFolder(t)
	b := newBarn(t, folder, demoStart)
	b.poll(24, stepOf)
	wish := web.LimitWish{By: "anna", Sure: true, Limits: []web.WishedLimit{{Place: brood.NestAir, Key: "heat_warn", From: 0, To: 3, C: new(33.0)}}}
	if err := b.d.SetLimits(t.Context(), wish); err != nil {
		t.Fatal(err)
	}
	b.stop()
	narrow := func(c *config) {
		c.Limits.NestAir = []brood.AirRow{{From: new(0), To: new(3), HeatWarn: new(28.0), HeatCritical: new(32.0)}}
	}
	b = newBarn(t, folder, demoStart.Add(time.Hour), narrow)
	if s := b.d.Settings(); len(s.Aside) != 1 || !strings.Contains(s.Aside[0].Why, "33 °C is not below heat_critical 32 °C") || inForce(t, s, brood.NestAir, "heat_warn", 2).C != 28 {
		t.Errorf("aside is %+v, in force %+v", s.Aside, inForce(t, s, brood.NestAir, "heat_warn", 2))
	}
	b.stop()
	plant(t, filepath.Join(folder, archive.LimitsFile), `{"limits":[{"pl`)
	b = newBarn(t, folder, demoStart.Add(2*time.Hour))
	defer b.stop()
	b.poll(24, 3*time.Minute)
	if s := b.d.Settings(); !strings.Contains(s.Wrong, "damaged") || inForce(t, s, brood.NestAir, "heat_warn", 2).C != 30 {
		t.Errorf("wrong is %q", s.Wrong)
	}
	if st := alarm.Find(b.d.snapshot().Alarms, "", alarm.DaemonFault); !strings.Contains(st.Text, "The configuration's limits count alone") {
		t.Errorf("nobody is told: %+v", st)
	}
	if err := b.d.SetLimits(t.Context(), wish); err != nil {
		t.Fatal(err)
	}
	if kept, err := os.ReadFile(filepath.Join(folder, archive.LimitsFile+".broken")); err != nil || !strings.HasPrefix(string(kept), `{"limits":[{"pl`) {
		t.Errorf("what was damaged is kept as %q, %v", kept, err)
	}
	if s := b.d.Settings(); s.Wrong != "" || inForce(t, s, brood.NestAir, "heat_warn", 2).C != 33 {
		t.Errorf("%+v", s.Wrong)
	}
}
