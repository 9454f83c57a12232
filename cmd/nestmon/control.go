package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"hash/fnv"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"nestmon/exporter"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/alarm/quality"
	"nestmon/thresholds/book"
	"nestmon/thresholds/held"
	"nestmon/thresholds/survival"
)

// control is the daemon's door for its own commands: a unix socket, so that whoever may open the file may change things, and
// nobody over the network can.
type control struct {
	server *http.Server
	path   string
}

// controlMode lets the daemon's user and group in.
const controlMode = 0o660

// Of what a command sends and gets, in bytes: far more than any sends, but for an import, and than a book of a hundred thousand entries is.
const (
	largestRequest = 64 << 10
	largestImport  = 64 << 20
	largestAnswer  = 64 << 20
)

// openControl listens on the socket, or on its spare one where its folder cannot be written. page answers everything that only reads. A daemon that can have
// neither watches all the same, and no command reaches it.
func openControl(path string, d *daemon, page http.Handler) (*control, error) {
	alone := d != nil && d.alone()
	l, err := listenAt(path, alone)
	if cannotBeMade(err) {
		spare := spareDoor(path)
		d.log.Error("commands come by another way", "socket", spare, "err", err)
		if l, err = listenAt(spare, alone); cannotBeMade(err) || errors.Is(err, os.ErrNotExist) {
			d.log.Error("no command reaches this daemon", "err", err)
			return &control{}, nil
		}
		path = spare
	}
	if err != nil {
		return nil, err
	}
	c := &control{path: path, server: &http.Server{ConnContext: named, Handler: doorOf(d, page), ReadHeaderTimeout: 5 * time.Second, MaxHeaderBytes: 8 << 10}}
	go c.server.Serve(l) //nolint:errcheck // it ends with ErrServerClosed
	return c, nil
}

// spareDoors is in memory, and made by the service manager (hardware/nestmon.service).
const spareDoors = "/run/nestmon"

// spareDoor is where a daemon listens, and commands ask, when its own socket cannot be made: on a card that is read-only.
func spareDoor(path string) string {
	h := fnv.New64a()
	h.Write([]byte(path)) //nolint:errcheck // it never fails
	return filepath.Join(spareDoors, fmt.Sprintf("control-%016x.sock", h.Sum64()))
}

// cannotBeMade reports whether there is no socket because its folder takes none.
func cannotBeMade(err error) bool {
	return errors.Is(err, syscall.EROFS) || errors.Is(err, syscall.EIO) || errors.Is(err, syscall.ENOSPC) || errors.Is(err, os.ErrPermission)
}

// alone reports whether no other daemon runs on the archive: it is open here, and what lies there could be read. A socket beside it is of one that is gone.
func (d *daemon) alone() bool { return d.archive != nil && !d.archive.Unread() }

func listenAt(path string, alone bool) (net.Listener, error) {
	switch c, err := net.DialTimeout("unix", path, time.Second); {
	case err == nil:
		_ = c.Close()
		return nil, fmt.Errorf("control socket %s: another nestmon answers there; stop it first, or give this one its own data folder", path)
	case errors.Is(err, os.ErrPermission) && !alone: // without %w: nothing else is to be tried
		return nil, fmt.Errorf("control socket %s: whether another nestmon answers there is not for this user to ask; stop that one, and give it and the archive to the user nestmon, or write another path at control", path)
	}
	switch st, err := os.Lstat(path); {
	case errors.Is(err, os.ErrNotExist):
	case err != nil:
		return nil, fmt.Errorf("control socket: %w; write another path at control", err)
	case st.Mode().Type() != os.ModeSocket:
		return nil, fmt.Errorf("control socket %s: another file has this name and is left alone; write another path at control", path)
	default: // of a daemon that is gone
		if err := os.Remove(path); err != nil {
			return nil, fmt.Errorf("control socket: %w; remove that file", err)
		}
	}
	l, err := net.Listen("unix", path)
	if err != nil {
		return nil, fmt.Errorf("control socket: %w; write another path at control", err)
	}
	if err := os.Chmod(path, controlMode); err != nil {
		return nil, errors.Join(l.Close(), fmt.Errorf("control socket: %w", err))
	}
	return l, nil
}

// doorOf is what the commands may ask.
func doorOf(d *daemon, page http.Handler) *http.ServeMux {
	mux := http.NewServeMux()
	mux.Handle("GET /", page)
	litterDoor(mux, d)
	mux.HandleFunc("GET /control/report", func(w http.ResponseWriter, r *http.Request) {
		reply(w, func() (reportAnswer, error) { return d.answerReport(r) })
	})
	mux.HandleFunc("GET /control/inside", d.answerInside)
	mux.HandleFunc("GET /control/journal", func(w http.ResponseWriter, r *http.Request) {
		reply(w, func() ([]entry, error) { return d.journal(r.FormValue("days"), r.FormValue("nest")) })
	})
	mux.HandleFunc("GET /control/quality", func(w http.ResponseWriter, r *http.Request) {
		reply(w, func() (quality.Report, error) { return d.quality(r.FormValue("days")) })
	})
	mux.HandleFunc("GET /control/outcomes", func(w http.ResponseWriter, r *http.Request) {
		reply(w, func() (survival.Report, error) { return d.outcomes(r.URL.Query()) })
	})
	mux.HandleFunc("GET /control/held", func(w http.ResponseWriter, r *http.Request) {
		reply(w, func() ([]held.Row, error) { return d.held(r.FormValue("nest"), r.FormValue("since")) })
	})
	mux.HandleFunc("GET /control/held.txt", d.sayHeld)
	mux.HandleFunc("POST /control/act", func(w http.ResponseWriter, r *http.Request) {
		var a alarm.Act
		take(w, r, &a, func() (alarm.Act, error) {
			a.By = commandedBy(r)
			return a, d.Act(r.Context(), a)
		})
	})
	mux.HandleFunc("GET /control/chores", func(w http.ResponseWriter, r *http.Request) {
		reply(w, func() ([]taskView, error) { return d.agenda(r.FormValue("days")) })
	})
	mux.HandleFunc("POST /control/calendar", func(w http.ResponseWriter, r *http.Request) {
		var asked feedRequest
		take(w, r, &asked, func() (feedAnswer, error) { return d.feedCommand(r.Context(), asked) })
	})
	mux.HandleFunc("POST /control/backfill", func(w http.ResponseWriter, r *http.Request) {
		var asked pastRange
		take(w, r, &asked, func() (pastAnswer, error) { return d.backfill(asked) })
	})
	mux.HandleFunc("POST /control/alarms/test", func(w http.ResponseWriter, r *http.Request) {
		var asked trialRequest
		take(w, r, &asked, func() ([]trialAnswer, error) { return d.sinks.trial(r.Context(), asked.Channel) })
	})
	return mux
}

// userKey is where a connection's user is kept.
type userKey struct{}

// named keeps who is at the other end of a connection, as far as the kernel tells.
func named(ctx context.Context, c net.Conn) context.Context {
	return context.WithValue(ctx, userKey{}, peer(c))
}

// commandedBy is who gave a command.
func commandedBy(r *http.Request) string {
	if name, ok := r.Context().Value(userKey{}).(string); ok && name != "" {
		return name + ", by command"
	}
	return "command"
}

func (c *control) stop(ctx context.Context) error {
	if c.server == nil {
		return nil
	}
	return errors.Join(c.server.Shutdown(ctx), c.server.Close())
}

// refusal is why the daemon did not do what a command asked.
type refusal struct {
	Text string `json:"error"`
	Row  *int   `json:"row,omitempty"` // of the entries that were sent, from 0
}

func (r refusal) Error() string { return r.Text }

func take[T any](w http.ResponseWriter, r *http.Request, body any, do func() (T, error)) {
	takeUpTo(largestRequest, w, r, body, do)
}

func takeUpTo[T any](most int64, w http.ResponseWriter, r *http.Request, body any, do func() (T, error)) {
	in := json.NewDecoder(http.MaxBytesReader(w, r.Body, most))
	in.DisallowUnknownFields()
	if err := in.Decode(body); err != nil {
		w.WriteHeader(http.StatusBadRequest)
		json.NewEncoder(w).Encode(refusal{Text: "the request is not understood: " + err.Error()}) //nolint:errcheck // the caller has gone
		return
	}
	reply(w, do)
}

func reply[T any](w http.ResponseWriter, do func() (T, error)) {
	w.Header().Set("Content-Type", "application/json")
	out, err := do()
	if err != nil {
		refuse(w, err)
		return
	}
	json.NewEncoder(w).Encode(out) //nolint:errcheck // the caller has gone
}

func refuse(w http.ResponseWriter, err error) {
	said := refusal{Text: err.Error()}
	if no, ok := errors.AsType[*book.Refusal](err); ok {
		said.Row = &no.Row
	}
	w.WriteHeader(http.StatusUnprocessableEntity)
	json.NewEncoder(w).Encode(said) //nolint:errcheck // the caller has gone
}

// caller talks to a running daemon.
type caller struct {
	client     *http.Client
	path       string
	fahrenheit bool // sentences begin with it
}

var errRefused = errors.New("this user may not talk to the daemon")

func call(path string) *caller {
	dial := func(ctx context.Context, _, _ string) (net.Conn, error) {
		conn, err := (&net.Dialer{}).DialContext(ctx, "unix", path)
		if err == nil || errors.Is(err, os.ErrPermission) {
			return conn, err
		}
		spare, spareErr := (&net.Dialer{}).DialContext(ctx, "unix", spareDoor(path))
		if spareErr == nil || errors.Is(spareErr, os.ErrPermission) {
			return spare, spareErr
		}
		return nil, err
	}
	return &caller{client: &http.Client{Timeout: 10 * time.Second, Transport: &http.Transport{DialContext: dial}}, path: path}
}

// in has the answer's sentences begin with the scale that is displayed.
func (c *caller) in(display string) *caller {
	c.fahrenheit = display == "fahrenheit"
	return c
}

func (c *caller) get(ctx context.Context, what string, into any) error {
	return c.do(ctx, http.MethodGet, what, nil, into)
}

func (c *caller) post(ctx context.Context, what string, body, into any) error {
	b, err := json.Marshal(body)
	if err != nil {
		return err
	}
	return c.do(ctx, http.MethodPost, what, b, into)
}

// copy writes the daemon's answer out, which is cheaper than to understand it, and returns what stands above it. The whole of it is here before
// any is written: whoever reads it page by page takes longer than the daemon may.
func (c *caller) copy(ctx context.Context, what string, out io.Writer) (http.Header, error) {
	res, err := c.ask(ctx, http.MethodGet, what, nil)
	if err != nil {
		return nil, err
	}
	defer res.Body.Close()
	text, err := io.ReadAll(io.LimitReader(res.Body, largestAnswer))
	if err == nil {
		_, err = out.Write(text)
	}
	if err != nil {
		return nil, fmt.Errorf("taking over the daemon's answer: %w", err)
	}
	return res.Header, nil
}

func (c *caller) do(ctx context.Context, method, what string, body []byte, into any) error {
	res, err := c.ask(ctx, method, what, body)
	if err != nil {
		return err
	}
	defer res.Body.Close()
	text, err := io.ReadAll(io.LimitReader(res.Body, largestAnswer))
	if err == nil && into != nil {
		if c.fahrenheit {
			text = []byte(exporter.FahrenheitFirst(string(text)))
		}
		err = json.Unmarshal(text, into)
	}
	if err != nil {
		return fmt.Errorf("reading the daemon's answer: %w", err)
	}
	return nil
}

// ask returns an answer that is no refusal.
func (c *caller) ask(ctx context.Context, method, what string, body []byte) (*http.Response, error) {
	req, err := http.NewRequestWithContext(ctx, method, "http://nestmon"+what, bytes.NewReader(body))
	if err != nil {
		return nil, err
	}
	res, err := c.client.Do(req)
	switch {
	case errors.Is(err, os.ErrPermission):
		return nil, fmt.Errorf("%s: %w; add it to the group nestmon", c.path, errRefused)
	case err != nil:
		return nil, fmt.Errorf("no daemon answers at %s; start it with 'sudo systemctl start nestmon' and look at 'journalctl -u nestmon' if it does not stay, or name its configuration with --config", c.path)
	case res.StatusCode == http.StatusOK:
		return res, nil
	}
	defer res.Body.Close()
	var no refusal
	if text, err := io.ReadAll(io.LimitReader(res.Body, largestAnswer)); err != nil || json.Unmarshal(text, &no) != nil || no.Text == "" {
		no.Text = strings.TrimSpace(res.Status)
	}
	return nil, no
}
