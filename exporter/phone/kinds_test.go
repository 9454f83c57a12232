package phone_test

import (
	"maps"
	"slices"
	"testing"

	"nestmon/exporter"
	"nestmon/exporter/phone"
	"nestmon/exporter/phone/push"
)

// A channel of another kind than a webhook takes none of a webhook's keys.
func TestAPushChannel(t *testing.T) {
	board := phone.Channel{Name: "board", Push: &push.Config{Contact: "mailto:keeper@willow-bend.example"}}
	both, second, nobody := board, board, phone.Channel{Name: "board", Push: &push.Config{}}
	both.URL, both.URLFile, both.Format, both.Method = exporter.NewSecret("https://push.example/x"), "url", "json", "PUT"
	both.ContentType, both.Body, both.Headers = "text/plain", "x", map[string]exporter.Secret{"A": exporter.NewSecret("b")}
	second.Name = "second"
	for _, row := range []struct {
		name string
		all  []phone.Channel
		want []string
	}{
		{"alone", []phone.Channel{board}, nil},
		{"with a webhook's keys", []phone.Channel{both}, []string{
			"channels[0].body", "channels[0].content_type", "channels[0].format", "channels[0].headers", "channels[0].method", "channels[0].url", "channels[0].url_file",
		}},
		{"twice", []phone.Channel{board, second}, []string{"channels[1].push"}},
		{"of nobody", []phone.Channel{nobody}, []string{"channels[0].push.contact"}},
	} {
		got := map[string]string{}
		phone.Config{Channels: row.all}.Validate(func(path, problem string) { got[path] = problem })
		if paths := slices.Sorted(maps.Keys(got)); !slices.Equal(paths, row.want) {
			t.Errorf("%s: reported %v, want %v", row.name, got, row.want)
		}
	}
}
