package main

import (
	"encoding/json"
	"net"
	"net/http"
	"time"

	"nestmon/exporter"
)

// mobile stands for the keeper's phone in the demonstration: a web server on loopback that prints what the webhook brings.
type mobile struct {
	url    string
	server *http.Server
}

func openMobile(to *lines) (*mobile, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, err
	}
	show := func(w http.ResponseWriter, r *http.Request) {
		var m struct {
			Title string    `json:"title"`
			Time  time.Time `json:"time"`
		}
		if err := json.NewDecoder(http.MaxBytesReader(w, r.Body, 1<<16)).Decode(&m); err != nil {
			http.Error(w, err.Error(), http.StatusBadRequest)
			return
		}
		to.print(m.Time, "phone    ", m.Title)
	}
	m := &mobile{url: "http://" + l.Addr().String() + "/", server: &http.Server{Handler: http.HandlerFunc(show), ReadHeaderTimeout: time.Second}}
	go m.server.Serve(l) //nolint:errcheck // it ends with ErrServerClosed
	return m, nil
}

func (m *mobile) close() { _ = m.server.Close() }

func secret(text string) exporter.Secret { return exporter.NewSecret(text) }

// freeAddress is host with the usual port, or with any other when that is taken: the demonstration should not fail for a port.
func freeAddress(host, usual string) string {
	_, port, err := net.SplitHostPort(usual)
	if err != nil {
		port = "0"
	}
	for _, p := range []string{port, "0"} {
		l, err := net.Listen("tcp", net.JoinHostPort(host, p))
		if err != nil {
			continue
		}
		_ = l.Close()
		return l.Addr().String()
	}
	return net.JoinHostPort(host, port)
}
