package phone_test

import (
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/phone"
	"nestmon/exporter/phone/mail"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/calls"
)

func TestConfigSaysWhatIsWrong(t *testing.T) {
	good := phone.Channel{Name: "mobile", URL: exporter.NewSecret("https://push.example/" + key)}
	post := phone.Channel{Name: "post", Mail: &mail.Config{Server: "mail.example.org", From: "barn@example.org", To: []string{"keeper@example.org"}}}
	rows := []struct {
		name   string
		change func(*phone.Config)
		want   []string
	}{
		{"plain", func(*phone.Config) {}, nil},
		{"nothing", func(c *phone.Config) { c.Channels = nil }, nil},
		{"quiet hours", func(c *phone.Config) { c.QuietHours = &phone.Window{From: "22:00", To: "06:30"} }, nil},
		{"no name", func(c *phone.Config) { c.Channels[0].Name = "" }, []string{"channels[0].name"}},
		{"a name twice", func(c *phone.Config) { c.Channels = append(c.Channels, good) }, []string{"channels[1].name"}},
		{"no address", func(c *phone.Config) { c.Channels[0].URL = exporter.Secret{} }, []string{"channels[0].url"}},
		{"no web address", func(c *phone.Config) { c.Channels[0].URL = exporter.NewSecret("push.example/" + key) }, []string{"channels[0].url"}},
		{"two addresses", func(c *phone.Config) { c.Channels[0].URLFile = "url" }, []string{"channels[0].url"}},
		{"an unknown format", func(c *phone.Config) { c.Channels[0].Format = "xml" }, []string{"channels[0].format"}},
		{"an unknown method", func(c *phone.Config) { c.Channels[0].Method = "post" }, []string{"channels[0].method"}},
		{"a misspelt key", func(c *phone.Config) { c.Channels[0].Body = "{{.tilte}}" }, []string{"channels[0].body"}},
		{"a broken template", func(c *phone.Config) { c.Channels[0].Body = "{{.title" }, []string{"channels[0].body"}},
		{"a broken header", func(c *phone.Config) {
			c.Channels[0].Headers = map[string]exporter.Secret{"Authorization": exporter.NewSecret("{{" + key)}
		}, []string{"channels[0].headers.Authorization"}},
		{"a header with a space", func(c *phone.Config) {
			c.Channels[0].Headers = map[string]exporter.Secret{"My Key": exporter.NewSecret("x")}
		}, []string{"channels[0].headers"}},
		{"mail", func(c *phone.Config) { c.Channels[0] = post }, nil},
		{"mail to nobody", func(c *phone.Config) { c.Channels[0] = phone.Channel{Name: "post", Mail: &mail.Config{}} }, []string{"channels[0].mail.from", "channels[0].mail.server", "channels[0].mail.to"}},
		{"mail and a webhook in one", func(c *phone.Config) {
			c.Channels[0].Mail, c.Channels[0].URLFile, c.Channels[0].Format, c.Channels[0].Method = post.Mail, "url", "json", "PUT"
			c.Channels[0].ContentType, c.Channels[0].Body, c.Channels[0].Headers = "text/plain", "x", map[string]exporter.Secret{"A": exporter.NewSecret(key)}
		}, []string{
			"channels[0].body", "channels[0].content_type", "channels[0].format", "channels[0].headers", "channels[0].method", "channels[0].url", "channels[0].url_file",
		}},
		{"contacts", func(c *phone.Config) {
			c.Contacts, c.EscalateAfter, c.Repeat, c.Digest, c.AllWell = people("anna", "berta"), 2, 5*time.Minute, "18:00", "08:00"
		}, nil},
		{"contacts without a name", func(c *phone.Config) { c.Contacts = people("") }, []string{"contacts[0].name"}},
		{"a contact twice", func(c *phone.Config) { c.Contacts = people("anna", "anna") }, []string{"contacts[1].name"}},
		{"a contact without a channel", func(c *phone.Config) { c.Contacts = append(people("anna"), phone.Contact{Name: "berta"}) }, []string{"contacts[1].channels"}},
		{"a contact with an unknown channel", func(c *phone.Config) { c.Contacts = people("anna"); c.Contacts[0].Channels[0] = "mobil" }, []string{"channels[0].name", "contacts[0].channels"}},
		{"contacts without any channel", func(c *phone.Config) { c.Contacts, c.Channels = people("anna"), nil }, []string{"channels"}},
		{"a channel of nobody", func(c *phone.Config) {
			c.Contacts, c.Channels = people("anna"), append(c.Channels, phone.Channel{Name: "second", URL: good.URL})
		}, []string{"channels[1].name"}},
		{"nobody to escalate to", func(c *phone.Config) { c.Contacts, c.EscalateAfter = people("anna"), 3 }, []string{"escalate_after"}},
		{"nobody at all to escalate to", func(c *phone.Config) { c.EscalateAfter = 3 }, []string{"escalate_after"}},
		{"escalation before the first call", func(c *phone.Config) { c.Contacts, c.EscalateAfter = people("anna", "berta"), -1 }, []string{"escalate_after"}},
		{"escalation after a day", func(c *phone.Config) { c.Contacts, c.EscalateAfter = people("anna", "berta"), 13 }, []string{"escalate_after"}},
		{"repeats without end", func(c *phone.Config) { c.Repeat = time.Second }, []string{"repeat"}},
		{"repeats tomorrow", func(c *phone.Config) { c.Repeat = 24 * time.Hour }, []string{"repeat"}},
		{"negative repeats", func(c *phone.Config) { c.Repeat = -time.Minute }, []string{"repeat"}},
		{"no hours of the day", func(c *phone.Config) { c.Digest, c.AllWell = "7", "noon" }, []string{"all_well", "digest"}},
		{"quiet hours that hold what is urgent", func(c *phone.Config) {
			c.QuietHours = &phone.Window{From: "22:00", To: "06:00", Holds: alarm.Urgent}
		}, []string{"quiet_hours.holds"}},
		{"quiet hours that hold notices alone", func(c *phone.Config) {
			c.QuietHours = &phone.Window{From: "22:00", To: "06:00", Holds: alarm.Notice}
		}, nil},
		{"quiet hours of no time", func(c *phone.Config) { c.QuietHours = &phone.Window{From: "22:00", To: "22:00"} }, []string{"quiet_hours.to"}},
		{"quiet hours of most of the day", func(c *phone.Config) { c.QuietHours = &phone.Window{From: "06:00", To: "05:00"} }, []string{"quiet_hours.to"}},
		{"half a quiet hour", func(c *phone.Config) { c.QuietHours = &phone.Window{From: "22:00"} }, []string{"quiet_hours.to"}},
		{"no times of day", func(c *phone.Config) { c.QuietHours = &phone.Window{From: "10pm", To: "25:00"} }, []string{"quiet_hours.from", "quiet_hours.to"}},
		{"a heartbeat", beats(func(*phone.Beats) {}), nil},
		{"a heartbeat without an address", beats(func(b *phone.Beats) { b.URL = exporter.Secret{} }), []string{"heartbeat.url"}},
		{"a heartbeat to no web address", beats(func(b *phone.Beats) { b.URL = exporter.NewSecret(key) }), []string{"heartbeat.url"}},
		{"a heartbeat to two", beats(func(b *phone.Beats) { b.URLFile = "url" }), []string{"heartbeat.url"}},
		{"a hasty heartbeat", beats(func(b *phone.Beats) { b.Every = 59 * time.Second }), []string{"heartbeat.every"}},
		{"a lazy heartbeat", beats(func(b *phone.Beats) { b.Every = 61 * time.Minute }), []string{"heartbeat.every"}},
		{"a heartbeat by another method", beats(func(b *phone.Beats) { b.Method = "PUT" }), []string{"heartbeat.method"}},
		{"a channel called as the heartbeat", func(c *phone.Config) {
			beats(func(*phone.Beats) {})(c)
			c.Channels[0].Name = phone.HeartbeatName
		}, []string{"heartbeat"}},
	}
	for _, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			c := phone.Config{Channels: []phone.Channel{good}}
			row.change(&c)
			got := map[string]string{}
			c.Validate(func(path, problem string) { got[path] = problem })
			if paths := slices.Sorted(maps.Keys(got)); !slices.Equal(paths, row.want) {
				t.Errorf("reported %v, want %v", got, row.want)
			}
			for path, problem := range got {
				if strings.Contains(problem, key) || !strings.Contains(problem, "write") {
					t.Errorf("%s: %q tells a secret or no remedy", path, problem)
				}
			}
		})
	}
}

// beats adds a heartbeat with one change.
func beats(change func(*phone.Beats)) func(*phone.Config) {
	return func(c *phone.Config) {
		c.Heartbeat = &phone.Beats{URL: exporter.NewSecret("https://beat.example/" + key), Every: time.Minute}
		change(c.Heartbeat)
	}
}

// people are contacts who share the channel mobile.
func people(names ...string) (all []phone.Contact) {
	for _, name := range names {
		all = append(all, phone.Contact{Name: name, Channels: []string{"mobile"}})
	}
	return all
}

func TestPlan(t *testing.T) {
	c := phone.Config{Channels: []phone.Channel{{Name: "mobile"}, {Name: "siren", AtLeast: alarm.Urgent}, {Name: "log", AtLeast: alarm.Notice}}}
	if p := c.Plan(time.UTC); len(p.Contacts) != 1 || p.Contacts[0].AtLeast != alarm.Notice || p.Digest != calls.Never || p.AllWell != calls.Never || p.Quiet.Covers(time.Now()) {
		t.Errorf("without contacts: %+v", p)
	}
	if got := c.ChannelsOf([]string{c.Plan(nil).Contacts[0].Name}); !slices.Equal(got, []string{"mobile", "siren", "log"}) {
		t.Errorf("everybody has %v", got)
	}
	c.Contacts = []phone.Contact{{Name: "anna", Channels: []string{"mobile", "siren"}}, {Name: "berta", Channels: []string{"siren", "log"}}, {Name: "carl", Channels: []string{"siren"}}}
	c.QuietHours, c.Repeat, c.EscalateAfter, c.Digest, c.AllWell = &phone.Window{From: "22:00", To: "06:30", Holds: alarm.Notice}, 5*time.Minute, 2, "18:00", "00:00"
	want := calls.Plan{
		Contacts: []calls.Contact{{Name: "anna", AtLeast: alarm.Warning}, {Name: "berta", AtLeast: alarm.Notice}, {Name: "carl", AtLeast: alarm.Urgent}},
		Quiet:    calls.Window{From: 22 * 60, To: 6*60 + 30}, Holds: alarm.Notice, Repeat: 5 * time.Minute, Escalate: 2, Digest: 18 * 60, AllWell: 0, Zone: time.UTC,
	}
	if got := c.Plan(time.UTC); !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v, want %+v", got, want)
	}
	if got := c.ChannelsOf([]string{"berta", "anna"}); !slices.Equal(got, []string{"mobile", "siren", "log"}) {
		t.Errorf("anna and berta have %v", got)
	}
}

func TestAddressFromAFile(t *testing.T) {
	f := newFar(t)
	file := filepath.Join(t.TempDir(), "url")
	if err := os.WriteFile(file, []byte(f.URL+"/push/"+key+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	c := phone.Channel{Name: "mobile", URLFile: file}
	if err := open(t, c).Send(t.Context(), hot()); err != nil {
		t.Fatal(err)
	}
	c.URLFile = file + ".no"
	if _, err := phone.New(c); err == nil || !strings.Contains(err.Error(), "url_file") {
		t.Errorf("got %v, want an error about url_file", err)
	}
}

func TestAlone(t *testing.T) {
	channel := func(name, url string) phone.Channel { return phone.Channel{Name: name, URL: exporter.NewSecret(url)} }
	rows := []struct {
		name     string
		channels []phone.Channel
		want     string
	}{
		{"one", []phone.Channel{channel("a", "https://push.example/"+key)}, "one channel alone"},
		{"two of one server", []phone.Channel{channel("a", "https://push.example/"+key), channel("b", "https://PUSH.example:8443/b")}, "all channels go to the same server"},
		{"two", []phone.Channel{channel("a", "https://push.example/"+key), channel("b", "https://other.example/")}, ""},
		{"one whose address cannot be read", []phone.Channel{channel("a", "https://push.example/"), {Name: "b", URLFile: "no such file"}}, ""},
	}
	for _, row := range rows {
		got := phone.Config{Channels: row.channels}.Alone()
		if !strings.HasPrefix(got, row.want) || (got == "") != (row.want == "") || strings.Contains(got, key) {
			t.Errorf("%s: %q, want %q", row.name, got, row.want)
		}
	}
}
