package influx

import (
	"fmt"
	"net/url"
	"os"
	"strings"

	"nestmon/exporter"
)

// Config says where readings go.
type Config struct {
	URL       string          `yaml:"url"`
	Org       string          `yaml:"org"` // ignored by InfluxDB 1.8 and 3
	Bucket    string          `yaml:"bucket"`
	Token     exporter.Secret `yaml:"token"`
	TokenFile string          `yaml:"token_file"` // a file that holds the token alone
	CAFile    string          `yaml:"ca_file"`    // the certificate that signed the server's, where the system does not know who did
}

// Validate reports what is wrong with c.
func (c Config) Validate(report func(path, problem string)) {
	u, err := url.Parse(c.URL)
	switch {
	case c.URL == "":
		report("url", "is missing; write the server's address, such as http://192.168.1.5:8086")
	case err != nil || (u.Scheme != "http" && u.Scheme != "https") || u.Host == "":
		// What was written is not repeated: it may hold a password.
		report("url", "is not an http or https address; write one such as http://192.168.1.5:8086")
	case u.User != nil:
		report("url", "holds a user or password; write them as token: user:password, or use token_file")
	case u.RawQuery != "" || u.Fragment != "":
		report("url", "has something after the path; write the server's address alone, such as http://192.168.1.5:8086")
	}
	if err == nil && u.Scheme == "http" && c.CAFile != "" {
		report("ca_file", "is of no use with http://; write url: https://...")
	}
	if c.Bucket == "" {
		report("bucket", "is missing; write the name of a bucket that exists (for InfluxDB 1.8: database or database/retention)")
	}
	if c.Token.IsSet() && c.TokenFile != "" {
		report("token_file", "is given together with token; write one of them")
	}
}

// secret returns the token, from its file where that is configured.
func (c Config) secret() (exporter.Secret, error) {
	if c.TokenFile == "" {
		return c.Token, nil
	}
	text, err := os.ReadFile(c.TokenFile)
	if err != nil {
		return exporter.Secret{}, fmt.Errorf("publish.influxdb.token_file: %w", err)
	}
	token := strings.TrimSpace(string(text))
	if token == "" || strings.ContainsAny(token, "\r\n") {
		return exporter.Secret{}, fmt.Errorf("publish.influxdb.token_file: %q does not hold a token alone; write the token and nothing else into it", c.TokenFile)
	}
	return exporter.NewSecret(token), nil
}
