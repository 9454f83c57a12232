package web

import (
	"net"
	"net/url"
	"strconv"
	"strings"
	"time"

	"nestmon/sensors"
	"nestmon/thresholds/alarm"
)

// Config is the block publish.page.
type Config struct {
	Listen        string `yaml:"listen"`          // host:port, or "none"
	Address       string `yaml:"address"`         // under which phones reach the page, such as https://nest.example; empty for no links in messages
	WebConfigFile string `yaml:"web_config_file"` // TLS and passwords, in the format of exporter-toolkit; empty for neither
	PasswordFile  string `yaml:"password_file"`   // a line of HashPassword; without it nothing can be changed from the page
	View          string `yaml:"view"`            // who may look: Open or Password
}

// Values of View. Open shows everything to whoever reaches the page, Password to who has logged in.
const (
	Open     = "open"
	Password = "password"
)

// None as Listen means no network address; Handler still works.
const None = "none"

// DefaultConfig listens on loopback only. Port 8380 is ours, no source; it is not a well-known one.
func DefaultConfig() Config { return Config{Listen: "127.0.0.1:8380", View: Open} }

// Validate reports what cannot work.
func (c Config) Validate(report func(path, problem string)) {
	c.validateAddress(func(problem string) {
		report("address", problem+"; write what a phone's browser opens, such as https://nests.example or http://192.168.1.20:8380")
	})
	switch {
	case c.View != "" && c.View != Open && c.View != Password:
		report("view", strconv.Quote(c.View)+" is none of open, password; write open to show the page to whoever reaches it, password to who logs in")
	case c.View == Password && c.PasswordFile == "":
		report("view", "there is no password to log in with; make one with 'nestmon password' and name its file under publish.page.password_file, or write view: open")
	}
	if c.Listen == None {
		return
	}
	const remedy = "; write address:port such as 127.0.0.1:8380, 0.0.0.0:8380 for the whole home network, or none"
	_, port, err := net.SplitHostPort(c.Listen)
	if err != nil {
		report("listen", strconv.Quote(c.Listen)+" is not an address with a port"+remedy)
		return
	}
	if n, err := strconv.Atoi(port); err != nil || n < 0 || n > 65535 {
		report("listen", "port "+strconv.Quote(port)+" is not a number from 0 to 65535"+remedy)
	}
}

// validateAddress wants a scheme and a host, and a port at most: links are made by adding to it.
func (c Config) validateAddress(report func(problem string)) {
	if c.Address == "" {
		return
	}
	u, err := url.Parse(c.Address)
	switch {
	case err != nil || u.Opaque != "" || u.Scheme != "https" && u.Scheme != "http":
		report("is not a web address")
	case u.User != nil:
		report("holds a name or password, which would stand in every message")
	case u.Hostname() == "":
		report("has no host")
	case u.Path != "" && u.Path != "/" || u.RawQuery != "" || u.ForceQuery || u.Fragment != "" || strings.HasSuffix(c.Address, "#"):
		report("goes on after the host")
	case u.Port() == "" && strings.HasSuffix(u.Host, ":") || u.Port() != "" && !isPort(u.Port()):
		report("has no possible port")
	case c.Listen == None:
		report("is given, but nothing listens: listen is none")
	}
}

func isPort(s string) bool {
	n, err := strconv.ParseUint(s, 10, 16)
	return err == nil && n > 0
}

// Site is what the page says about the place, from other blocks of the configuration.
type Site struct {
	Name    string
	Display string         // fahrenheit or celsius, where the person has not chosen on the page
	Zone    *time.Location // nil is UTC
	Poll    time.Duration  // how often a state is to be expected by the wall clock
	Probes  []sensors.Probe
}

// oldAfter is how long a published state counts as current: two polls may be lost, and never less than a minute (ours, no source).
func (s Site) oldAfter() time.Duration { return max(3*s.Poll, time.Minute) }

func (s Site) zone() *time.Location {
	if s.Zone == nil {
		return time.UTC
	}
	return s.Zone
}

func (s Site) probe(id string) (sensors.Probe, bool) {
	for _, p := range s.Probes {
		if p.ID == id {
			return p, true
		}
	}
	return sensors.Probe{}, false
}

// Point is one bucket of a series.
type Point struct {
	Time           time.Time
	Min, Mean, Max float64
}

// SeriesFunc returns the buckets of [from, to) that hold readings, in time order.
type SeriesFunc func(probe string, q sensors.Quantity, from, to time.Time, buckets int) ([]Point, error)

// EventsFunc returns the newest events of [from, to), at most limit of them, in time order.
type EventsFunc func(from, to time.Time, limit int) ([]alarm.Event, error)

// Line names what a line of a graph shows.
type Line struct {
	Probe    string
	Quantity sensors.Quantity
}

// LinesFunc returns several lines at once, in the order of what is wanted: of each the buckets from each edge to the next that hold readings.
type LinesFunc func(wanted []Line, edges []time.Time) ([][]Point, error)

// WeightFunc returns the events of some nests in [from, to), the weightiest where there are more than most of them, in time order, and how many
// there are. "" is the site.
type WeightFunc func(nests []string, from, to time.Time, most int) (events []alarm.Event, all int, err error)

// EndsFunc returns, of each alarm of some nests, the first end at or after from, in time order. "" is the site.
type EndsFunc func(nests []string, from time.Time) ([]alarm.Event, error)

// History is where the past comes from. All are called by several goroutines at once.
type History struct {
	Series     SeriesFunc
	Events     EventsFunc
	Acts       ActsFunc // nil where nobody notes what people do
	Lines      LinesFunc
	Weightiest WeightFunc
	Ends       EndsFunc
	Kept       func() (first, fine time.Time, err error) // from when on there is anything, and more than an hourly value; zero where there is none
}
