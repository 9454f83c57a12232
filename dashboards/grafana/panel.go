package grafana

import (
	"strings"

	"github.com/grafana/grafana-foundation-sdk/go/cog/variants"
	"github.com/grafana/grafana-foundation-sdk/go/common"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/prometheus"
	"github.com/grafana/grafana-foundation-sdk/go/stat"
	"github.com/grafana/grafana-foundation-sdk/go/statetimeline"
	"github.com/grafana/grafana-foundation-sdk/go/table"
	textpanel "github.com/grafana/grafana-foundation-sdk/go/text"
	"github.com/grafana/grafana-foundation-sdk/go/timeseries"
)

// kind is how a panel shows what it has, by Grafana's name of it.
type kind string

const (
	number kind = "stat"           // the newest values, large
	names  kind = "stat "          // the series' names in place of their values
	list   kind = "table"          // the newest values, a row for each
	curves kind = "timeseries"     // values over time
	states kind = "state-timeline" // words over time
	note   kind = "text"           // what must be said; about is the text
)

// panel is one of a dashboard.
type panel struct {
	kind     kind
	width    uint32
	title    string
	about    string // what it shows and what to do when it is bad
	queries  []query
	unit     string // as Grafana calls it; empty for a plain number, as temperatures are
	decimals float64
	words    []word
	columns  []column // of a list, in their order
	steps    []step   // colours of a number, from the lowest up
	shades   string   // the one colour whose shades tell many curves apart
	atLeast  bool     // the axis begins at 0
}

// step is the colour of a number from a value on; the first counts from minus infinity.
type step struct {
	from   float64
	colour string
}

// query asks for values.
type query struct {
	text   string // in the language of the data source
	legend string // a series' name
	colour string
	dashed bool   // a limit
	bandTo string // the name of the series that ends the band below this one
}

// column shows a label, a value or the time of a list.
type column struct {
	field    string // the label's name, or "Value #A" for the first of several queries
	header   string
	unit     string
	decimals float64
	words    []word
	steps    []step
	link     string
}

func (p panel) make(s source, id uint32) dashboard.Panel {
	out := dashboard.Panel{
		Type: strings.TrimSpace(string(p.kind)), Id: &id, Title: ptr(p.title), Description: ptr(p.about), Transparent: ptr(false),
		Datasource: s.ref(), Options: p.options(), Transformations: p.transformations(),
	}
	if p.kind == note {
		out.Title, out.Description, out.Datasource = ptr(""), ptr(p.title), nil
		return out
	}
	defaults := dashboard.FieldConfig{Unit: ptr(p.unit), Decimals: ptr(p.decimals), Mappings: mappings(p.words), Custom: p.custom(s)}
	if p.unit == "" {
		defaults.Unit = ptr("none")
	}
	defaults.Color = &dashboard.FieldColor{Mode: dashboard.FieldColorModeIdFixed, FixedColor: ptr(blue)}
	if p.shades != "" {
		defaults.Color = &dashboard.FieldColor{Mode: dashboard.FieldColorModeIdShades, FixedColor: ptr(p.shades)}
	}
	if p.steps != nil {
		defaults.Color = &dashboard.FieldColor{Mode: dashboard.FieldColorModeIdThresholds}
		defaults.Thresholds = thresholds(p.steps)
	}
	if p.atLeast {
		defaults.Min = ptr(0.0)
	}
	switch p.kind {
	case number, names:
		defaults.NoValue = ptr(unheard)
	case list:
		defaults.NoValue = ptr(unfound)
	}
	out.FieldConfig = &dashboard.FieldConfigSource{Defaults: defaults, Overrides: p.overrides()}
	for i, q := range p.queries {
		out.Targets = append(out.Targets, p.target(s, refID(i), q))
	}
	if s == influxdbSource {
		out.Interval = ptr("1m") // most probes are read every 30 s
	}
	return out
}

func thresholds(steps []step) *dashboard.ThresholdsConfig {
	out := &dashboard.ThresholdsConfig{Mode: dashboard.ThresholdsModeAbsolute}
	for i, s := range steps {
		t := dashboard.Threshold{Color: s.colour}
		if i > 0 {
			t.Value = ptr(s.from)
		}
		out.Steps = append(out.Steps, t)
	}
	return out
}

func refID(i int) string { return string(rune('A' + i)) }

// latest reports whether only the newest values are asked for.
func (p panel) latest() bool { return p.kind == number || p.kind == names || p.kind == list }

func (p panel) target(s source, ref string, q query) variants.Dataquery {
	if s == influxdbSource {
		format := "time_series"
		if p.kind == list {
			format = "table"
		}
		return variants.UnknownDataquery{
			"refId": ref, "datasource": s.ref(), "query": q.text, "rawQuery": true, "resultFormat": format, "alias": q.legend,
		}
	}
	format := prometheus.PromQueryFormatTimeSeries
	if p.kind == list {
		format = prometheus.PromQueryFormatTable
	}
	return prometheus.Dataquery{
		RefId: ptr(ref), Datasource: s.ref(), Expr: q.text, LegendFormat: ptr(q.legend), Format: &format,
		Instant: ptr(p.latest()), Range: ptr(!p.latest()), EditorMode: ptr(prometheus.QueryEditorModeCode),
	}
}

func (p panel) options() any {
	tooltip := common.VizTooltipOptions{Mode: common.TooltipDisplayModeMulti, Sort: common.SortOrderDescending}
	legend := common.VizLegendOptions{
		DisplayMode: common.LegendDisplayModeList, Placement: common.LegendPlacementBottom, ShowLegend: true, Calcs: []string{"lastNotNull"},
	}
	switch p.kind {
	case note:
		return &textpanel.Options{Mode: textpanel.TextModeMarkdown, Content: p.about}
	case list:
		o := table.NewOptions()
		o.Footer = nil
		return o
	case curves:
		return &timeseries.Options{Tooltip: tooltip, Legend: legend}
	case states:
		o := statetimeline.NewOptions()
		legend.Calcs = []string{}
		o.ShowValue, o.RowHeight, o.Tooltip, o.Legend, o.PerPage = common.VisibilityModeAuto, 0.9, tooltip, legend, nil
		return o
	}
	o := stat.NewOptions()
	o.GraphMode, o.ColorMode, o.Orientation = common.BigValueGraphModeNone, common.BigValueColorModeBackgroundSolid, common.VizOrientationAuto
	o.ReduceOptions = common.ReduceDataOptions{Calcs: []string{"lastNotNull"}}
	if p.kind == names {
		o.TextMode = common.BigValueTextModeName
	}
	return o
}

// wait is the longest gap that a curve from InfluxDB bridges, in ms: ours, no source. A Prometheus bridges five minutes by itself, and
// nestmon ends a silent probe's series there.
const wait = 5 * 60 * 1000

func (p panel) custom(s source) any {
	switch p.kind {
	case curves:
		c := common.GraphFieldConfig{
			DrawStyle: ptr(common.GraphDrawStyleLine), LineInterpolation: ptr(common.LineInterpolationLinear), LineWidth: ptr(2.0),
			FillOpacity: ptr(0.0), ShowPoints: ptr(common.VisibilityModeAuto), PointSize: ptr(4.0),
		}
		if s == influxdbSource {
			c.SpanNulls = &common.BoolOrFloat64{Float64: ptr(float64(wait))}
		}
		return &c
	case states:
		return &statetimeline.FieldConfig{LineWidth: ptr(uint32(0)), FillOpacity: ptr(uint32(80))}
	case list:
		return &common.TableFieldOptions{Align: common.FieldTextAlignmentAuto}
	}
	return nil
}

func (p panel) overrides() []dashboard.DashboardFieldConfigSourceOverrides {
	out := []dashboard.DashboardFieldConfigSourceOverrides{}
	add := func(matcher, option string, values ...dashboard.DynamicConfigValue) {
		out = append(out, dashboard.DashboardFieldConfigSourceOverrides{Matcher: dashboard.MatcherConfig{Id: matcher, Options: option}, Properties: values})
	}
	for i, q := range p.queries {
		var values []dashboard.DynamicConfigValue
		if q.colour != "" {
			values = append(values, set("color", dashboard.FieldColor{Mode: dashboard.FieldColorModeIdFixed, FixedColor: ptr(q.colour)}))
		}
		if q.dashed {
			values = append(values,
				set("custom.lineStyle", common.LineStyle{Fill: ptr(common.LineStyleFillDash), Dash: []float64{10, 10}}),
				set("custom.lineInterpolation", common.LineInterpolationStepAfter), set("custom.lineWidth", 1))
		}
		if q.bandTo != "" {
			values = append(values, set("custom.fillBelowTo", q.bandTo), set("custom.fillOpacity", 12))
		}
		if values != nil {
			add("byFrameRefID", refID(i), values...)
		}
	}
	for _, c := range p.columns {
		values := []dashboard.DynamicConfigValue{set("displayName", c.header)}
		if c.unit != "" {
			values = append(values, set("unit", c.unit))
		}
		if strings.HasPrefix(c.field, "Value") {
			values = append(values, set("decimals", c.decimals), set("noValue", "–"))
		}
		if c.words != nil {
			values = append(values, set("mappings", mappings(c.words)))
		}
		if c.steps != nil {
			values = append(values, set("color", dashboard.FieldColor{Mode: dashboard.FieldColorModeIdThresholds}), set("thresholds", thresholds(c.steps)))
		}
		if c.steps != nil || len(c.words) > 0 && c.words[0].colour != "" {
			values = append(values, set("custom.cellOptions", common.TableColoredBackgroundCellOptions{
				Type: common.TableCellDisplayModeColorBackground, Mode: ptr(common.TableCellBackgroundDisplayModeBasic),
			}))
		}
		if c.link != "" {
			values = append(values, set("links", []map[string]any{{"title": "Look at this nest", "url": c.link}}))
		}
		add("byName", c.field, values...)
	}
	return out
}

func set(id string, value any) dashboard.DynamicConfigValue {
	return dashboard.DynamicConfigValue{Id: id, Value: value}
}

// transformations put the answers of a list into one table and order its columns; what is not a column is left out.
func (p panel) transformations() []dashboard.DataTransformerConfig {
	if p.kind != list {
		return nil
	}
	var out []dashboard.DataTransformerConfig
	if len(p.queries) > 1 {
		out = append(out, dashboard.DataTransformerConfig{Id: "merge", Options: map[string]any{}})
	}
	order, hidden := map[string]any{}, map[string]any{}
	for i, c := range p.columns {
		order[c.field] = i
	}
	for _, field := range append([]string{"Time", "Value"}, p.unshown()...) {
		if _, shown := order[field]; !shown {
			hidden[field] = true
		}
	}
	return append(out, dashboard.DataTransformerConfig{
		Id: "organize", Options: map[string]any{"indexByName": order, "excludeByName": hidden, "renameByName": map[string]any{}},
	})
}

// unshown are the values of several queries.
func (p panel) unshown() []string {
	var out []string
	for i := range p.queries {
		out = append(out, "Value #"+refID(i))
	}
	return out
}

// mappings say words for values, and that nothing came where nothing came.
func mappings(words []word) []dashboard.ValueMapping {
	if len(words) == 0 {
		return nil
	}
	options := map[string]dashboard.ValueMappingResult{}
	for i, w := range words {
		r := dashboard.ValueMappingResult{Text: ptr(w.text), Index: ptr(int32(i))}
		if w.colour != "" {
			r.Color = ptr(w.colour)
		}
		options[w.value] = r
	}
	return []dashboard.ValueMapping{{ValueMap: &dashboard.ValueMap{Type: dashboard.MappingTypeValueToText, Options: options}}}
}
