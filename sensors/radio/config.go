package radio

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"nestmon/sensors"
	"nestmon/sensors/broker"
)

// Kind is what the configuration writes as source.
const Kind = "radio"

// Config is the section radio of the configuration: the broker that all probes of this source publish on.
type Config struct {
	Broker       string `yaml:"broker"` // tcp://host:1883 or ssl://host:8883
	Username     string `yaml:"username"`
	PasswordFile string `yaml:"password_file"` // one line; read at every connection
	CAFile       string `yaml:"ca_file"`       // PEM certificates the broker's own is checked against; empty for the system's
	CertFile     string `yaml:"cert_file"`     // PEM certificate of our own, for a broker that asks for one
	KeyFile      string `yaml:"key_file"`      // PEM key of cert_file
	ClientID     string `yaml:"client_id"`     // empty for one made from the site's id; the same at every start
}

// Validate reports every setting that cannot work.
func (c Config) Validate(report func(path, problem string)) {
	if c.PasswordFile != "" && c.Username == "" {
		report("username", "is missing; a password needs one")
	}
	broker.Validate(c.Broker, c.Files(), report)
}

// Files are what a connection with TLS is made with.
func (c Config) Files() broker.Files {
	return broker.Files{CA: c.CAFile, Cert: c.CertFile, Key: c.KeyFile}
}

// clientID is the same at every start, so that a broker ends the old connection when a new one comes, and differs between sites. It has
// the form every server must accept, 1 to 23 characters of 0-9a-zA-Z (MQTT 3.1.1, 3.1.3-5), and never is one of the publisher's, which
// begin with nestmon.
func (c Config) clientID(site string) string {
	if c.ClientID != "" {
		return c.ClientID
	}
	const longest, readable = 23, 15
	id := "nestradio" + strings.ReplaceAll(site, "-", "")
	if len(id) <= longest {
		return id
	}
	sum := sha256.Sum256([]byte(site))
	return id[:readable] + hex.EncodeToString(sum[:])[:longest-readable]
}

// ProbeConfig is one probe that publishes by itself.
type ProbeConfig struct {
	sensors.Entry `yaml:",inline"`
	Topic         string            `yaml:"topic"`
	Pointers      map[string]string `yaml:"pointers"`   // by quantity; empty for a payload that is a plain number
	Time          string            `yaml:"time"`       // pointer to when it was measured; empty for when it came
	Unit          string            `yaml:"unit"`       // of the temperature, C or F
	Chip          string            `yaml:"chip"`       // "" when it is not known what measures
	Quantities    []string          `yaml:"quantities"` // the one quantity of a plain number; empty for temperature
}

// longestTopic is MQTT's own bound, in bytes (MQTT 3.1.1, 1.5.3).
const longestTopic = 65535

// Validate reports what is wrong with the probe, by key.
func (c ProbeConfig) Validate(report func(path, problem string)) {
	c.Entry.Validate(report)
	if c.Interval == 0 {
		report("interval", "is missing, and nobody else knows how often the node sends; write it, such as 5m")
	}
	c.validateTopic(report)
	c.validatePayload(report)
	if _, _, ok := sensors.Chip(c.Chip); c.Chip != "" && !ok {
		report("chip", fmt.Sprintf("%q is unknown; write one of: %s; or leave it out", c.Chip, strings.Join(sensors.ChipNames(), ", ")))
	}
}

func (c ProbeConfig) validateTopic(report func(path, problem string)) {
	switch {
	case c.Topic == "":
		report("topic", "is missing; write the one the node publishes on, such as barn/shelf/a1")
	case strings.ContainsAny(c.Topic, "+#"):
		report("topic", fmt.Sprintf("%q holds a wildcard, and several nodes would be taken for one probe; write the whole topic of one node", c.Topic))
	case strings.HasPrefix(c.Topic, "$"):
		report("topic", fmt.Sprintf("%q begins with $, which is the broker's own; write the topic the node publishes on", c.Topic))
	case len(c.Topic) > longestTopic || !utf8.ValidString(c.Topic) || strings.ContainsRune(c.Topic, 0):
		report("topic", "cannot be a topic; write at most 65535 bytes of text")
	}
}

func (c ProbeConfig) validatePayload(report func(path, problem string)) {
	for _, name := range slices.Sorted(maps.Keys(c.Pointers)) {
		text := c.Pointers[name]
		if _, err := sensors.ParseQuantities([]string{name}); err != nil {
			report("pointers."+name, err.Error())
		}
		if _, err := parsePointer(text); err != nil {
			report("pointers."+name, err.Error())
		}
	}
	if shared := len(c.Pointers) - len(c.Places()); len(c.Pointers) > 0 && shared > 0 {
		report("pointers", "lead two quantities to one number; write where each stands")
	}
	if len(c.Quantities) > 0 && len(c.Pointers) > 0 {
		report("quantities", "means nothing beside pointers, which name them; remove it")
	}
	if qs, err := sensors.ParseQuantities(c.Quantities); err != nil {
		report("quantities", err.Error())
	} else if len(qs) > 1 {
		report("quantities", "names several, and a plain number is one; write one, or pointers for a payload of JSON")
	}
	if c.Time != "" {
		if _, err := parsePointer(c.Time); err != nil {
			report("time", err.Error())
		}
		if len(c.Pointers) == 0 {
			report("time", "points into JSON, and the payload is a plain number; write pointers for the quantities, or remove it")
		}
	}
	measures := c.probe(0).Measures(sensors.Temperature)
	switch {
	case c.Unit == "C" || c.Unit == "F":
		if !measures {
			report("unit", "means nothing for a probe without a temperature; remove it")
		}
	case c.Unit == "" && measures:
		report("unit", "is missing; write C or F, whichever the node sends")
	case c.Unit != "":
		report("unit", fmt.Sprintf("%q is not a unit of temperature; write C or F", c.Unit))
	}
}

// Places names what the probe is bound to: its topic with each pointer, sorted. No two probes may share one.
func (c ProbeConfig) Places() []string {
	if len(c.Pointers) == 0 {
		return []string{c.Topic}
	}
	var all []string
	for _, to := range c.Pointers {
		all = append(all, strings.TrimSuffix(c.Topic+" "+to, " ")) // an empty pointer is the whole payload, as none is
	}
	slices.Sort(all)
	return slices.Compact(all)
}

func (c ProbeConfig) probe(poll time.Duration) sensors.Probe {
	chip, _, _ := sensors.Chip(c.Chip)
	var quantities []sensors.Quantity
	for _, q := range sensors.Quantities {
		if _, ok := c.Pointers[q.String()]; ok {
			quantities = append(quantities, q)
		}
	}
	if len(c.Pointers) == 0 {
		quantities, _ = sensors.ParseQuantities(c.Quantities)
		if len(quantities) == 0 {
			quantities = []sensors.Quantity{sensors.Temperature}
		}
	}
	return c.Probe(poll, chip, quantities...)
}
