package rig

import (
	"cmp"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"time"
)

// Service is a real server that can be ended and started again at the same address.
type Service struct {
	Address string // host:port
	command func() *exec.Cmd
	ready   func() bool
	p       *Process
}

// Start starts it, or starts it again.
func (s *Service) Start() (err error) {
	if s.p, err = Start(s.command()); err != nil {
		return err
	}
	return s.p.Until("it is ready", s.ready)
}

// Kill ends it as a power cut would.
func (s *Service) Kill() {
	if s.p != nil {
		s.p.Kill()
	}
}

// program finds a server's program: by NESTMON_NAME, on the path, or where packages put it and not everybody looks.
func program(name, variable string) (string, error) {
	wanted := cmp.Or(os.Getenv(variable), name)
	path, err := exec.LookPath(wanted)
	if err != nil {
		path, err = exec.LookPath(filepath.Join("/usr/sbin", wanted))
	}
	if err != nil {
		return "", fmt.Errorf("%w; install it or set %s to its path", err, variable)
	}
	return path, nil
}

// Mosquitto starts a broker that lets everybody in.
func Mosquitto(dir string) (*Service, error) {
	path, err := program("mosquitto", "NESTMON_MOSQUITTO")
	if err != nil {
		return nil, err
	}
	address, err := Free()
	if err != nil {
		return nil, err
	}
	host, port, _ := net.SplitHostPort(address)
	config := filepath.Join(dir, "mosquitto.conf")
	if err := os.WriteFile(config, []byte(fmt.Sprintf("listener %s %s\nallow_anonymous true\nlog_type error\n", port, host)), 0o600); err != nil {
		return nil, err
	}
	s := &Service{Address: address, command: func() *exec.Cmd { return exec.Command(path, "-c", config) }, ready: func() bool {
		c, err := net.DialTimeout("tcp", address, time.Second)
		return err == nil && c.Close() == nil
	}}
	return s, s.Start()
}

// Influxd starts an InfluxDB 1.8 without accounts, and makes the database.
func Influxd(dir, database string) (*Service, error) {
	path, err := program("influxd", "NESTMON_INFLUXD")
	if err != nil {
		return nil, err
	}
	rpc, err := Free()
	if err != nil {
		return nil, err
	}
	address, err := Free()
	if err != nil {
		return nil, err
	}
	config := filepath.Join(dir, "influxd.toml")
	text := fmt.Sprintf(`reporting-disabled = true
bind-address = %q
meta = {dir = "%[3]s/meta"}
data = {dir = "%[3]s/tsm", wal-dir = "%[3]s/wal", query-log-enabled = false}
http = {bind-address = %[2]q, log-enabled = false}
monitor = {store-enabled = false}
logging = {level = "error"}
`, rpc, address, dir)
	if err := os.WriteFile(config, []byte(text), 0o600); err != nil {
		return nil, err
	}
	s := &Service{Address: address, command: func() *exec.Cmd { return exec.Command(path, "-config", config) }, ready: func() bool {
		_, err := Get(http.DefaultClient, "http://"+address+"/query?q=SHOW+DATABASES")
		return err == nil
	}}
	if err := s.Start(); err != nil {
		return nil, err
	}
	res, err := http.PostForm("http://"+address+"/query", url.Values{"q": {"CREATE DATABASE " + database}})
	if err != nil {
		return nil, err
	}
	return s, res.Body.Close()
}
