package grafana

import (
	"github.com/grafana/grafana-foundation-sdk/go/common"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
)

// source is a kind of data source, as Grafana calls it.
type source string

const (
	prometheusSource source = "prometheus"
	influxdbSource   source = "influxdb"
)

// ref is the data source that is chosen at the top of the dashboard.
func (s source) ref() *common.DataSourceRef {
	return &common.DataSourceRef{Type: ptr(string(s)), Uid: ptr("${datasource}")}
}

// variables are what is chosen at the top: the data source, the shed, where it makes sense the nest, and the degrees.
func (b board) variables() []dashboard.VariableModel {
	names := map[source]string{prometheusSource: "Prometheus", influxdbSource: "InfluxDB"}
	// The second metric is what nestmon's own read API knows, too.
	sites := map[source]string{
		prometheusSource: `label_values({__name__=~"nestmon_build_info|nestmon_probe_temperature_celsius"}, site)`,
		influxdbSource:   `SHOW TAG VALUES FROM "nestmon" WITH KEY = "site"`,
	}
	nests := map[source]string{
		prometheusSource: `label_values({__name__=~"nestmon_nest_info|nestmon_probe_temperature_celsius", site=~"$site"}, nest)`,
		influxdbSource:   `SHOW TAG VALUES FROM "nestmon" WITH KEY = "nest" WHERE "site" =~ /^$site$/`,
	}
	all := []dashboard.VariableModel{
		{
			Type: dashboard.VariableTypeDatasource, Name: "datasource", Label: ptr(names[b.source]),
			Query: text(string(b.source)), Refresh: ptr(dashboard.VariableRefreshOnDashboardLoad),
		},
		// With "All" the site may also be missing: a Prometheus of one shed need not name it.
		{
			Type: dashboard.VariableTypeQuery, Name: "site", Label: ptr("Shed"), Datasource: b.source.ref(),
			Query: text(sites[b.source]), Definition: ptr(sites[b.source]),
			Refresh: ptr(dashboard.VariableRefreshOnTimeRangeChanged), Sort: ptr(dashboard.VariableSortAlphabeticalAsc),
			IncludeAll: ptr(true), AllValue: ptr(".*"), Multi: ptr(!b.oneNest), Current: ptr(option("All", "$__all", true)),
		},
	}
	if b.oneNest {
		all = append(all, dashboard.VariableModel{
			Type: dashboard.VariableTypeQuery, Name: "nest", Label: ptr("Nest"), Datasource: b.source.ref(),
			Query: text(nests[b.source]), Definition: ptr(nests[b.source]),
			Refresh: ptr(dashboard.VariableRefreshOnTimeRangeChanged), Sort: ptr(dashboard.VariableSortNaturalAsc),
		})
	}
	if b.temperature {
		f, c := option("°F", "1.8", true), option("°C", "1", false)
		all = append(all, dashboard.VariableModel{
			Type: dashboard.VariableTypeCustom, Name: "degrees", Label: ptr("Degrees"), Query: text("°F : 1.8, °C : 1"),
			Options: []dashboard.VariableOption{f, c}, Current: ptr(f),
		})
	}
	return all
}

func text(s string) *dashboard.StringOrMap { return &dashboard.StringOrMap{String: ptr(s)} }

func option(shown, value string, selected bool) dashboard.VariableOption {
	return dashboard.VariableOption{
		Text: dashboard.StringOrArrayOfString{String: ptr(shown)}, Value: dashboard.StringOrArrayOfString{String: ptr(value)}, Selected: ptr(selected),
	}
}
