package main

import (
	"fmt"
	"reflect"
	"slices"
	"time"

	"nestmon/exporter/web"
	"nestmon/exporter/webconfig"
	"nestmon/thresholds/brood"
)

var _ web.Tuner = (*daemon)(nil)

// Settings is what is in force and where it comes from. It may be called from any goroutine.
func (d *daemon) Settings() web.Settings {
	c := d.cfg
	own := c.owned()
	s := web.Settings{
		Revision: own.Revision, Limits: c.limitRows(), Aside: c.setAside(), Changes: append([]web.LimitChange{}, own.Changes...),
		PollS: c.Poll.Seconds(), PollLine: c.line("poll"), Timezone: c.Site.Timezone, Altitude: c.Site.AltitudeM, Outside: c.Outside,
		Nests: []web.NestFact{}, Probes: []web.ProbeFact{}, Chores: c.choreFacts(), Channels: []string{}, Sinks: []web.SinkFact{}, Version: version(),
	}
	if wrong := d.limitsWrong.Load(); wrong != nil {
		s.Wrong = *wrong
	}
	slices.Reverse(s.Changes)
	for i, n := range c.Nests {
		s.Nests = append(s.Nests, web.NestFact{
			ID: n.ID, Kind: string(n.Kind), Floor: string(n.Floor), Lined: n.Lined, Cluster: append([]string{}, n.Cluster...), Air: n.Air, CO2: n.CO2, Cage: n.Cage, Line: c.line(item("nests", i)),
		})
	}
	for i, p := range c.probes() {
		f := web.ProbeFact{ID: p.ID, Source: c.Probes[i].Source, Measures: []string{}, Every: p.Interval.Seconds(), Stale: p.StaleAfter.Seconds(), Line: c.line(item("probes", i))}
		for _, q := range p.Quantities {
			f.Measures = append(f.Measures, q.String())
		}
		s.Probes = append(s.Probes, f)
	}
	for _, k := range sinkKinds {
		_, on := k.target(c)
		s.Sinks = append(s.Sinks, web.SinkFact{Name: k.says, On: on})
	}
	if c.Phone != nil {
		for _, ch := range c.Phone.Channels {
			s.Channels = append(s.Channels, ch.Name)
		}
	}
	page := pageConfig(c)
	s.Page = web.PageFact{Address: page.Address, TLS: webconfig.Secure(page.WebConfigFile), Password: page.PasswordFile != "", Closed: page.View == web.Password}
	return s
}

// line is where a key stands in the configuration, nil where it does not.
func (c *config) line(path string) *int {
	if at, written := c.at[path]; written {
		return &at.line
	}
	return nil
}

// limitRows are the limits in force, each with where it comes from.
func (c *config) limitRows() (all []web.LimitRow) {
	shipped, base, now := brood.DefaultTables(), c.Limits.Tables(), c.tables()
	own, _ := c.owned().Limits.Fitting(base)
	of := func(t *brood.Tables, p brood.Place, day, k int) float64 {
		for _, r := range t.Rows(p) {
			if day <= r.To {
				return r.Limits[k].C
			}
		}
		return 0
	}
	for _, p := range brood.Places {
		for _, r := range now.Rows(p) {
			row := web.LimitRow{Place: p, From: r.From, To: r.To}
			for k, key := range p.Keys() {
				l := r.Limits[k]
				f := web.LimitFact{
					Key: key, C: l.C, Delay: l.Delay.Seconds(), Winter: l.Delay.Seconds(), Notice: l.Notice, Source: l.Source, Origin: web.Shipped,
					Beneath: of(&base, p, r.From, k), ShippedC: of(&shipped, p, r.From, k),
				}
				if k == 1 {
					f.Winter = r.Winter.Delay.Seconds()
				}
				if set, here := own.Of(p, key, r.From); here {
					f.Origin, f.By, f.At = web.FromPage, &set.By, &set.At
				} else if path := c.Limits.Path(p, key, r.From); path != "" {
					f.Origin, f.Line = web.FromFile, c.line("limits."+path)
				}
				row.Limits = append(row.Limits, f)
			}
			all = append(all, row)
		}
	}
	return all
}

// choreFacts lists the block chores as it counts.
func (c *config) choreFacts() (all []web.ChoreFact) {
	v := reflect.ValueOf(c.Chores)
	for i := range v.NumField() {
		key := v.Type().Field(i).Tag.Get("yaml")
		f := web.ChoreFact{Key: key, Names: []string{}, Values: []float64{}, Line: c.line("chores." + key)}
		switch one := v.Field(i); one.Kind() {
		case reflect.Struct:
			for j := range one.NumField() {
				f.Names = append(f.Names, one.Type().Field(j).Tag.Get("yaml"))
				f.Values = append(f.Values, numberOf(one.Field(j)))
			}
		case reflect.Slice: // off
			for j := range one.Len() {
				f.Names = append(f.Names, one.Index(j).String())
			}
		default:
			f.Values = append(f.Values, numberOf(one))
		}
		all = append(all, f)
	}
	return all
}

// numberOf writes times in hours.
func numberOf(v reflect.Value) float64 {
	switch n := v.Interface().(type) {
	case time.Duration:
		return n.Hours()
	case float64:
		return n
	}
	return float64(v.Int())
}

func item(list string, i int) string { return fmt.Sprintf("%s[%d]", list, i) }
