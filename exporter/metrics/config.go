package metrics

import (
	"errors"
	"fmt"
	"net"
	"strconv"
	"syscall"

	"nestmon/exporter/webconfig"
)

// Config says where the metrics are served.
type Config struct {
	Listen        string `yaml:"listen"`          // host:port
	WebConfigFile string `yaml:"web_config_file"` // TLS and passwords, in the format of exporter-toolkit; empty for neither
}

// DefaultConfig serves this machine only; a Prometheus on another machine needs ":19555".
func DefaultConfig() Config { return Config{Listen: "127.0.0.1:19555"} }

// Validate reports what is wrong with c.
func (c Config) Validate(report func(path, problem string)) {
	_, port, err := net.SplitHostPort(c.Listen)
	if err != nil {
		report("listen", fmt.Sprintf("%q is not an address; write host:port, such as %s", c.Listen, DefaultConfig().Listen))
		return
	}
	if n, err := strconv.ParseUint(port, 10, 16); err != nil || n == 0 {
		report("listen", fmt.Sprintf("%q has no port from 1 to 65535; write host:port, such as %s", c.Listen, DefaultConfig().Listen))
	}
}

// open listens at c.Listen. Errors say what to write instead.
func (c Config) open() (net.Listener, error) {
	if err := webconfig.Check(c.WebConfigFile); err != nil {
		return nil, fmt.Errorf("publish.prometheus.web_config_file: %w", err)
	}
	l, err := net.Listen("tcp", c.Listen)
	switch {
	case err == nil:
		return l, nil
	case errors.Is(err, syscall.EADDRINUSE):
		return nil, fmt.Errorf("publish.prometheus.listen: %q is in use by another program; stop that one, or write another port, such as %q", c.Listen, c.nextPort())
	case errors.Is(err, syscall.EACCES):
		return nil, fmt.Errorf("publish.prometheus.listen: %q needs rights this program does not have; write a port from 1024 on, such as %q", c.Listen, DefaultConfig().Listen)
	case errors.Is(err, syscall.EADDRNOTAVAIL):
		return nil, fmt.Errorf("publish.prometheus.listen: %q is no address of this machine; write one that is, or %q for this machine alone", c.Listen, DefaultConfig().Listen)
	}
	return nil, fmt.Errorf("publish.prometheus.listen: %q: %w; write host:port, such as %q", c.Listen, err, DefaultConfig().Listen)
}

func (c Config) nextPort() string {
	host, port, _ := net.SplitHostPort(c.Listen)
	n, _ := strconv.Atoi(port)
	if n >= 65535 {
		n = 1024
	}
	return net.JoinHostPort(host, strconv.Itoa(n+1))
}
