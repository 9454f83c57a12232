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
	Base         string          `yaml:"base"`          // first level of every topic
	Device       string          `yaml:"device"`        // id of this daemon in the tree
	ClientID     string          `yaml:"client_id"`     // empty for one made from Device; the same at every start
	QoS          byte            `yaml:"qos"`           // 1, or 2 as Homie recommends; states are idempotent, so 1 is enough
}

// DefaultConfig is a configuration that lacks only the broker.
func DefaultConfig() Config { return Config{Base: "homie", Device: "nestmon", QoS: 1} }

// The nodes that are no nests; no nest may have such a name.
const (
	outsideNode = "outside"
	batteryNode = "battery"
)

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
	}
	return nil
}

// Validate reports every setting that cannot work.
func (c Config) Validate(report func(path, problem string)) {
	broker.Validate(c.Broker, c.CAFile, report)
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
	if c.QoS != 1 && c.QoS != 2 {
		report("qos", fmt.Sprintf("%d would lose states; write 1 or 2", c.QoS))
	}
}

// clientID is the same at every start: a broker then ends the old connection when a new one comes, and its will does not
// overwrite the new $state later. The default has the form every server must accept, 1 to 23 characters of 0-9a-zA-Z
// (MQTT 3.1.1, 3.1.3-5).
func (c Config) clientID() string {
	if c.ClientID != "" {
		return c.ClientID
	}
	const longest = 23
	id := "nestmon" + strings.ReplaceAll(strings.TrimPrefix(c.Device, "nestmon"), "-", "")
	return id[:min(len(id), longest)]
}

// password reads the password from where it stands.
func (c Config) password() (exporter.Secret, error) {
	if c.PasswordFile == "" {
		return c.Password, nil
	}
	b, err := os.ReadFile(c.PasswordFile)
	if err != nil {
		return exporter.Secret{}, fmt.Errorf("password_file: %w; make the file readable for this user", err)
	}
	return exporter.NewSecret(strings.TrimRight(string(b), "\r\n")), nil
}
