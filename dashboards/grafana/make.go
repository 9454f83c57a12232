package grafana

import (
	"encoding/json"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"

	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
)

// Metric is what a scrape shows of one metric.
type Metric struct {
	Name, Help string
	Labels     []string
}

// Event is an alarm's name, and what a person calls it.
type Event struct{ Name, Words string }

// File is one dashboard, ready to be imported.
type File struct {
	Name string // such as prometheus/rabbitry.json
	JSON []byte
}

// Make makes all dashboards.
func Make(metrics []Metric, events []Event) ([]File, error) {
	m := &maker{events: events, metrics: map[string]Metric{}}
	for _, x := range append(slices.Clone(metrics), ofPrometheus...) {
		m.metrics[x.Name] = x
	}
	var files []File
	for _, b := range slices.Concat(m.prometheus(), m.influxdb()) {
		d := m.dashboard(b)
		if err := d.Validate(); err != nil {
			m.errs = append(m.errs, fmt.Errorf("%s: %w", b.title, err))
		}
		text, err := json.MarshalIndent(d, "", "  ")
		if err != nil {
			return nil, fmt.Errorf("writing %q: %w", b.title, err)
		}
		files = append(files, File{string(b.source) + "/" + b.slug + ".json", []byte(readable.Replace(string(text)) + "\n")})
	}
	return files, errors.Join(m.errs...)
}

// readable undoes what encoding/json escapes for pages.
var readable = strings.NewReplacer(`\u003c`, "<", `\u003e`, ">", `\u0026`, "&")

// ofPrometheus are the metrics a Prometheus adds to every scrape, by its documentation on jobs and instances.
var ofPrometheus = []Metric{
	{Name: "up", Help: "1 while the scrape of this target succeeds."},
	{Name: "scrape_duration_seconds", Help: "How long the scrape took."},
	{Name: "scrape_samples_scraped", Help: "How many samples the target gave."},
}

// ofTarget are the labels a scrape adds to what the target says. Of them site is a convention of ours: the README says where to write it.
var ofTarget = []string{"instance", "job", "site"}

type maker struct {
	metrics map[string]Metric
	events  []Event
	errs    []error
}

var matcher = regexp.MustCompile(`^(\w+)(=|!=|=~|!~)"[^"]*"$`)

// of selects the series of a metric of nestmon at the chosen sites.
func (m *maker) of(name string, matchers ...string) string {
	return m.series("nestmon_"+name, append(matchers, `site=~"$site"`)...)
}

func (m *maker) series(name string, matchers ...string) string {
	x, known := m.metrics[name]
	if !known {
		m.errs = append(m.errs, fmt.Errorf("no metric %s is exported: take it out of the dashboards, or export it", name))
	}
	for _, match := range matchers {
		part := matcher.FindStringSubmatch(match)
		if part == nil {
			m.errs = append(m.errs, fmt.Errorf("%s: %q is no matcher; write label, operator and a text in quotes", name, match))
		} else if known && !slices.Contains(slices.Concat(x.Labels, ofTarget), part[1]) {
			m.errs = append(m.errs, fmt.Errorf("%s has no label %s, only %s", name, part[1], strings.Join(x.Labels, ", ")))
		}
	}
	if len(matchers) == 0 {
		return name
	}
	return name + "{" + strings.Join(matchers, ", ") + "}"
}

// board is one dashboard.
type board struct {
	source      source
	slug        string
	title       string
	about       string
	oneNest     bool // the variable nest, one at a time
	temperature bool // the variable degrees
	rows        []row
}

// row is what stands side by side. The widths of its panels add up to wide.
type row struct {
	height uint32
	panels []panel
}

const wide = 24 // columns of Grafana's grid

// classic is the form of JSON that every Grafana from 10 on imports; the newer one is for Grafana 12 and later alone.
type classic = dashboard.Dashboard //nolint:staticcheck // deprecated in favour of that one

func (m *maker) dashboard(b board) classic {
	d := *dashboard.NewDashboard()
	d.Uid, d.Title, d.Description = ptr("nestmon-"+string(b.source)+"-"+b.slug), ptr(b.title), ptr(b.about)
	tag := "nestmon-" + string(b.source)
	d.Tags = []string{"nestmon", tag}
	d.Time = &dashboard.DashboardDashboardTime{From: "now-24h", To: "now"}
	d.Refresh = ptr("1m") // as often as a Prometheus scrapes by default
	d.GraphTooltip = ptr(dashboard.DashboardCursorSyncCrosshair)
	d.Annotations.List = []dashboard.AnnotationQuery{}
	d.Links = []dashboard.DashboardLink{{
		Title: "The other dashboards", Type: dashboard.DashboardLinkTypeDashboards, Tags: []string{tag},
		AsDropdown: true, IncludeVars: true, KeepTime: true,
	}}
	d.Templating.List = b.variables()
	var y, id uint32
	for _, r := range b.rows {
		var x uint32
		for _, p := range r.panels {
			id++
			p.about += m.helps(p)
			made := p.make(b.source, id)
			made.GridPos = &dashboard.GridPos{X: x, Y: y, W: p.width, H: r.height}
			d.Panels = append(d.Panels, dashboard.PanelOrRowPanel{Panel: &made})
			x += p.width
		}
		if x != wide {
			m.errs = append(m.errs, fmt.Errorf("%s: the row at %d is %d wide, want %d", b.title, y, x, wide))
		}
		y += r.height
	}
	return d
}

var metricName = regexp.MustCompile(`\bnestmon_\w+`)

// helps says of each metric in a panel what it is.
func (m *maker) helps(p panel) string {
	var names []string
	for _, q := range p.queries {
		names = append(names, metricName.FindAllString(q.text, -1)...)
	}
	slices.Sort(names)
	var out strings.Builder
	for _, name := range slices.Compact(names) {
		if x, known := m.metrics[name]; known {
			fmt.Fprintf(&out, "\n\n`%s`: %s", name, x.Help)
		}
	}
	return out.String()
}

func ptr[T any](v T) *T { return &v }
