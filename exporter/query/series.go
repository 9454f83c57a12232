package query

import (
	"maps"
	"net/http"
	"slices"
	"time"

	"nestmon/exporter/archive"
	"nestmon/exporter/metrics"
	"nestmon/sensors"
)

// retired is how long a value of a probe lives that is configured no more: as long as Prometheus looks back (its --query.lookback-delta).
const retired = 5 * time.Minute

// series is one column of the archive under its name and labels.
type series struct {
	column archive.Column
	labels map[string]string // none is empty
	unit   float64           // size of its unit in nestmon's
	lives  time.Duration     // how long a value is current
}

// find returns the series of from <= time < to that match.
func (a *API) find(from, to time.Time, match func(labels map[string]string) bool) (out []series) {
	for _, c := range a.archive.Columns(from, to) {
		s := series{column: c, lives: retired}
		name, _, unit := metrics.Gauge(c.Quantity)
		s.unit = unit
		at := a.cfg.Places[c.Probe]
		s.labels = map[string]string{metricName: name, "site": a.cfg.Site, "nest": at.Nest, "role": string(at.Role), "probe": c.Probe}
		maps.DeleteFunc(s.labels, func(_, value string) bool { return value == "" })
		if i := slices.IndexFunc(a.cfg.Probes, func(p sensors.Probe) bool { return p.ID == c.Probe }); i >= 0 {
			if s.lives = a.cfg.Probes[i].StaleAfter; s.lives <= 0 {
				s.lives = sensors.DefaultStaleAfter(a.cfg.Probes[i].Interval)
			}
		}
		if match(s.labels) {
			out = append(out, s)
		}
	}
	return out
}

// matched reads match[], start, end and limit, and finds the series that one of the selectors matches, or all where there may be none.
func (a *API) matched(p *params, needed bool) (out []series, most int) {
	from, to := p.instant("start", earliest), p.instant("end", latest)
	most = p.limit("limit")
	if to.Before(from) {
		p.fail("invalid parameter \"end\": it is before start")
	}
	texts := p.r.Form["match[]"]
	if len(texts) == 0 && needed {
		p.fail("no match[] parameter provided; write match[]=nestmon_probe_temperature_celsius")
	}
	selectors := make([][]matcher, len(texts))
	for i, text := range texts {
		all, err := parseSelector(text)
		if err != nil {
			p.fail("invalid parameter \"match[]\": %s", err)
		}
		selectors[i] = all
	}
	if p.problem != nil {
		return nil, most
	}
	return a.find(from, to.Add(time.Millisecond), func(labels map[string]string) bool {
		return len(selectors) == 0 || slices.ContainsFunc(selectors, func(all []matcher) bool {
			return !slices.ContainsFunc(all, func(m matcher) bool { return !m.matches(labels[m.label]) })
		})
	}), most
}

func (a *API) serveSeries(w http.ResponseWriter, r *http.Request) {
	p := &params{r: r}
	all, most := a.matched(p, true)
	if p.refused(w) {
		return
	}
	data := []map[string]string{}
	for _, s := range all[:min(most, len(all))] {
		data = append(data, s.labels)
	}
	answer(w, data)
}

func (a *API) serveLabels(w http.ResponseWriter, r *http.Request) {
	a.list(w, &params{r: r}, func(s series) []string { return slices.Collect(maps.Keys(s.labels)) })
}

func (a *API) serveValues(w http.ResponseWriter, r *http.Request) {
	p, name := &params{r: r}, r.PathValue("name")
	if s := (scanner{rest: name}); s.name("") == "" || s.rest != "" {
		p.fail("invalid label name: %q", clip(name))
	}
	a.list(w, p, func(s series) []string {
		if v := s.labels[name]; v != "" {
			return []string{v}
		}
		return nil
	})
}

// list answers with every text once that a matched series has, sorted.
func (a *API) list(w http.ResponseWriter, p *params, of func(series) []string) {
	all, most := a.matched(p, false)
	if p.refused(w) {
		return
	}
	seen := map[string]bool{}
	for _, s := range all {
		for _, text := range of(s) {
			seen[text] = true
		}
	}
	data := slices.AppendSeq([]string{}, maps.Keys(seen))
	slices.Sort(data)
	answer(w, data[:min(most, len(data))])
}

type metadata struct {
	Type string `json:"type"`
	Help string `json:"help"`
	Unit string `json:"unit"`
}

func (a *API) serveMetadata(w http.ResponseWriter, r *http.Request) {
	p := &params{r: r}
	most, wanted := p.limit("limit"), p.text("metric")
	if p.refused(w) {
		return
	}
	data := map[string][]metadata{}
	for _, q := range sensors.Quantities {
		name, help, _ := metrics.Gauge(q)
		if a.archive.Has(q) && len(data) < most && (wanted == "" || wanted == name) {
			data[name] = []metadata{{Type: "gauge", Help: help}}
		}
	}
	answer(w, data)
}
