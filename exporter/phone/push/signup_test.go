package push_test

import (
	"fmt"
	"strings"
	"testing"

	"nestmon/exporter"
	"nestmon/exporter/phone/push"
)

func TestWhoMaySignUp(t *testing.T) {
	f := newFar(t)
	o := options(f, newStore())
	o.Net.Home = false
	c := open(t, o)
	good := f.subscription("Ada", "/a")
	good.Endpoint = exporter.NewSecret("https://push.willow-bend.example/wp/x")
	rows := []struct {
		name   string
		change func(*exporter.Subscription)
		want   string // empty where it may
	}{
		{"as it should be", func(*exporter.Subscription) {}, ""},
		{"padded", func(s *exporter.Subscription) { s.P256dh += "=" }, ""},
		{"plain http", at("http://push.willow-bend.example/wp/x"), "another browser"},
		{"another port", at("https://push.willow-bend.example:8443/wp/x"), "another browser"},
		{"a password", at("https://a:b@push.willow-bend.example/wp/x"), "another browser"},
		{"an address", at("https://192.0.2.1/wp/x"), "another browser"},
		{"an address of six", at("https://[2001:db8::1]/wp/x"), "another browser"},
		{"this machine", at("https://localhost/wp/x"), "another browser"},
		{"the home network", at("https://router.local/wp/x"), "another browser"},
		{"a bare name", at("https://router/wp/x"), "another browser"},
		{"no host", at("https:///wp/x"), "another browser"},
		{"nothing", at(""), "another browser"},
		{"endless", at("https://push.willow-bend.example/" + strings.Repeat("x", 2000)), "another browser"},
		{"a key that is none", func(s *exporter.Subscription) { s.P256dh = b64.EncodeToString(make([]byte, 65)) }, "load the page again"},
		{"an endless key", func(s *exporter.Subscription) { s.P256dh = strings.Repeat("A", 1<<16) }, "load the page again"},
		{"a short secret", func(s *exporter.Subscription) { s.Auth = exporter.NewSecret("AAAA") }, "load the page again"},
		{"no name", func(s *exporter.Subscription) { s.Label = " \n " }, "has no name"},
	}
	for _, row := range rows {
		s := good
		row.change(&s)
		err := c.Subscribe(s)
		if (err == nil) != (row.want == "") || (err != nil && !strings.Contains(err.Error(), row.want)) {
			t.Errorf("%s: got %v, want %q", row.name, err, row.want)
		}
	}
	long := good
	long.Label, long.Agent = "Ada\u202e\n"+strings.Repeat("é", 90), strings.Repeat("x", 900)
	subscribe(t, c, long)
	all, _ := c.List()
	if len(all) != 1 || len([]rune(all[0].Label)) != 40 || !strings.HasPrefix(all[0].Label, "Ada é") || len(all[0].Agent) != 80 {
		t.Errorf("%+v", all)
	}
	for i := range 30 {
		s := good
		s.Endpoint = exporter.NewSecret(fmt.Sprintf("https://push.willow-bend.example/wp/%d", i))
		if err := c.Subscribe(s); (err == nil) != (i < 19) {
			t.Errorf("phone %d: %v", i+2, err)
		}
	}
}

func at(endpoint string) func(*exporter.Subscription) {
	return func(s *exporter.Subscription) { s.Endpoint = exporter.NewSecret(endpoint) }
}

// A name from outside that leads home is not followed. The one name every machine has for itself is used, past the check of names.
func TestANameThatLeadsHomeIsNotFollowed(t *testing.T) {
	f, kept := newFar(t), newStore()
	c := open(t, options(f, kept))
	subscribe(t, c, f.subscription("Ada", secretPath))
	o := options(f, kept)
	o.Net.Home = false
	err := open(t, o).Send(t.Context(), hot("m", nil))
	if err == nil || !strings.Contains(err.Error(), "not public") || len(f.calls(true)) != 0 {
		t.Errorf("%v, %d requests", err, len(f.calls(true)))
	}
}

func TestACertificateThatIsNotTrusted(t *testing.T) {
	f := newFar(t)
	o := options(f, newStore())
	o.Net.Roots = nil
	c := open(t, o)
	s := f.subscription("Ada", secretPath)
	subscribe(t, c, s)
	err := c.Send(t.Context(), hot("m", nil))
	if err == nil || !strings.Contains(err.Error(), "x509") || len(f.calls(true)) != 0 {
		t.Errorf("%v, %d requests", err, len(f.calls(true)))
	}
	assertNoSecret(t, err, f, s)
}

func TestContact(t *testing.T) {
	for contact, want := range map[string]bool{
		"mailto:keeper@willow-bend.example": true, "https://willow-bend.example/about": true, "": false, "keeper@willow-bend.example": false,
		"mailto:keeper": false, "mailto:keeper@localhost": false, "mailto:a@b.local": false, "https://nest.lan/": false, "http://willow-bend.example/": false,
		"mailto:Keeper <keeper@willow-bend.example>": false, "https://": false,
	} {
		var said []string
		push.Config{Contact: contact}.Validate(func(path, problem string) { said = append(said, path+" "+problem) })
		if (len(said) == 0) != want || (len(said) > 0 && !strings.Contains(said[0], "; write ")) {
			t.Errorf("%q: %q", contact, said)
		}
		if _, err := push.New(push.Options{Config: push.Config{Contact: contact}, Store: newStore()}); (err == nil) != want {
			t.Errorf("%q: %v", contact, err)
		}
	}
}
