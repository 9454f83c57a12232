package mqtt

import (
	"fmt"
	"os"
	"regexp"
	"strings"

	"nestmon/exporter"
	"nestmon/sensors/broker"
)

// Config is the block publish.mqtt of the configuration.
type Config struct {
	Broker       string          `yaml:"broker"` // tcp://host:1883 or ssl://host:8883
	Username     string          `yaml:"username"`
	Password     exporter.Secret `yaml:"password"`
	PasswordFile string          `yaml:"password_file"` // one line; wins over having the password in this file
	CAFile       string          `yaml:"ca_file"`       // PEM certificates the broker's own is checked against; empty for the system's
	CertFile     string          `yaml:"cert_file"`     // PEM certificate of our own, for a broker that asks for one
	KeyFile      string          `yaml:"key_file"`      // PEM key of cert_file
	Base         string          `yaml:"base"`          // first level of every topic
	Device       string          `yaml:"device"`        // id of this daemon in the tree
	ClientID     string          `yaml:"client_id"`     // empty for one made from Device and the installation; the same at every start
	QoS          byte            `yaml:"qos"`           // 1, or 2 as Homie recommends; states are idempotent, so 1 is enough
	Homie4       bool            `yaml:"homie4"`        // a second tree, by Homie 4.0.0
	Commands     bool            `yaml:"commands"`      // alarms can be answered and chores marked done over the broker
	SenML        bool            `yaml:"senml"`         // every poll's values once more, as one message by RFC 8428
}

// DefaultConfig is a configuration that lacks only the broker.
func DefaultConfig() Config { return Config{Base: "homie", Device: "nestmon", QoS: 1} }

// Files are what a connection with TLS is made with.
func (c Config) Files() broker.Files {
	return broker.Files{CA: c.CAFile, Cert: c.CertFile, Key: c.KeyFile}
}

// The nodes that are no nests; no nest may have such a name.
const (
	siteNode    = "site"
	outsideNode = "outside"
	batteryNode = "battery"
)

// homie5Level is the second level of every topic of Homie 5; a device of Homie 4 with this id would lie across that tree.
const homie5Level = "5"

var (
	// idForm is the stricter of Homie 4.0.0 and 5.0.0: version 4 allows no hyphen at either end.
	idForm   = regexp.MustCompile(`^[a-z0-9]([a-z0-9-]*[a-z0-9])?$`)
	baseForm = regexp.MustCompile(`^[a-z0-9-]+$`)
)

// CheckNest says what is wrong with a nest's id as a node of the tree.
func CheckNest(id string) error {
	switch {
	case !idForm.MatchString(id):
		return fmt.Errorf("%q cannot be a topic level; write lower-case letters, digits and inner hyphens only", id)
	case id == outsideNode:
		return fmt.Errorf("%q is the name of the air outside; write another", id)
	case id == batteryNode:
		return fmt.Errorf("%q is the name of the battery; write another", id)
	case id == siteNode:
		return fmt.Errorf("%q is the name of what belongs to no nest; write another", id)
	}
	return nil
}

// Validate reports every setting that cannot work.
func (c Config) Validate(report func(path, problem string)) {
	broker.Validate(c.Broker, c.Files(), report)
	if c.Password.IsSet() && c.PasswordFile != "" {
		report("password", "is given beside password_file; write one of them")
	}
	if (c.Password.IsSet() || c.PasswordFile != "") && c.Username == "" {
		report("username", "is missing; a password needs one")
	}
	if !baseForm.MatchString(c.Base) {
		report("base", fmt.Sprintf("%q cannot be the first topic level; write lower-case letters, digits and hyphens, such as homie", c.Base))
	}
	if !idForm.MatchString(c.Device) {
		report("device", fmt.Sprintf("%q cannot be a device id; write lower-case letters, digits and inner hyphens, such as nestmon", c.Device))
	}
	if c.Homie4 && c.Device == homie5Level {
		report("device", fmt.Sprintf("%q cannot be shown by Homie 4 too, whose topics would lie among those of Homie 5; write another device, or remove homie4", c.Device))
	}
	if c.QoS != 1 && c.QoS != 2 {
		report("qos", fmt.Sprintf("%d would lose states; write 1 or 2", c.QoS))
	}
}

// clientID is the same at every start of an installation: a broker then ends the old connection when a new one comes, and its will does
// not overwrite the new $state later. It differs between installations, so that two of the same device do not throw each other out. The
// default has the form every server must accept, 1 to 23 characters of 0-9a-zA-Z (MQTT 3.1.1, 3.1.3-5).
func (c Config) clientID(instance string, homie4 bool) string {
	tree := ""
	if homie4 {
		tree = "v4"
	}
	if c.ClientID != "" {
		return c.ClientID + tree
	}
	const longest = 23
	head := "nestmon" + strings.ReplaceAll(strings.TrimPrefix(c.Device, "nestmon"), "-", "")
	tail := tree + instance
	return head[:min(len(head), longest-len(tail))] + tail
}

// password reads the password from where it stands.
func (c Config) password() (exporter.Secret, error) {
	if c.PasswordFile == "" {
		return c.Password, nil
	}
	b, err := os.ReadFile(c.PasswordFile)
	if err != nil {
		return exporter.Secret{}, fmt.Errorf("password_file: %w; the file must be there, with one line, and readable for this user", err)
	}
	return exporter.NewSecret(strings.TrimRight(string(b), "\r\n")), nil
}
