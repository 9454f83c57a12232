package web

import (
	"context"
	"encoding/json"
	"net/http"
	"time"

	"nestmon/exporter"
)

// testTime bounds the test of one phone: its push service has less. Ours, no source.
const testTime = 18 * time.Second

// SignUp lets phones sign up on the page for messages of this channel.
func (s *Server) SignUp(p exporter.Phones) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.phones = p
}

// pushRoutes adds what Web Push needs.
func (s *Server) pushRoutes(mux *http.ServeMux) {
	for name := range s.assets.top {
		mux.Handle("/"+name, shows(s.assets.serveTop))
	}
	mux.Handle("/api/push/key", shows(s.servePushKey))
	mux.Handle("/api/push/subscribe", s.changes(s.serveSubscribe))
	mux.Handle("/api/push/unsubscribe", s.changes(s.serveUnsubscribe))
	mux.Handle("/api/push/test", s.changes(s.servePushTest))
}

type pushView struct {
	Key    *string     `json:"key"`
	Phones []phoneView `json:"phones"`
}

type phoneView struct {
	ID     string     `json:"id"`
	Label  string     `json:"label"`
	Agent  string     `json:"agent"`
	Since  *time.Time `json:"since"`
	LastOK *time.Time `json:"last_ok"`
	Gone   *time.Time `json:"gone"`
}

// channel is where phones sign up, nil where they cannot.
func (s *Server) channel() exporter.Phones {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.phones
}

func (s *Server) servePushKey(w http.ResponseWriter, _ *http.Request) {
	v := pushView{Phones: []phoneView{}}
	if phones := s.channel(); phones != nil {
		key, err := phones.PublicKey()
		if err != nil {
			s.complain("page cannot tell who signed up", err)
			refuse(w, http.StatusServiceUnavailable, err.Error())
			return
		}
		all, err := phones.List()
		if err != nil {
			s.complain("page cannot tell who signed up", err)
			refuse(w, http.StatusServiceUnavailable, err.Error())
			return
		}
		v.Key = &key
		for _, p := range all {
			v.Phones = append(v.Phones, phoneView{p.ID, p.Label, p.Agent, instant(p.Since), instant(p.LastOK), instant(p.Gone)})
		}
	}
	body, _ := json.Marshal(v) // texts and times always can
	answer(w, body)
}

type subscribeBody struct {
	Endpoint string `json:"endpoint"`
	P256dh   string `json:"p256dh"`
	Auth     string `json:"auth"`
	Label    string `json:"label"`
	Agent    string `json:"agent"`
	Replaces string `json:"replaces"`
}

// which is a phone by its endpoint, which only itself knows, or by its id.
type whichBody struct {
	Endpoint string `json:"endpoint"`
	ID       string `json:"id"`
}

func (b whichBody) secret() exporter.Secret {
	if b.Endpoint != "" {
		return exporter.NewSecret(b.Endpoint)
	}
	return exporter.NewSecret(b.ID)
}

func (s *Server) serveSubscribe(w http.ResponseWriter, r *http.Request) {
	pushed(s, w, r, func(p exporter.Phones, b subscribeBody) error {
		return p.Subscribe(exporter.Subscription{
			Endpoint: exporter.NewSecret(b.Endpoint), P256dh: b.P256dh, Auth: exporter.NewSecret(b.Auth), Label: b.Label, Agent: b.Agent, Replaces: b.Replaces,
		})
	})
}

func (s *Server) serveUnsubscribe(w http.ResponseWriter, r *http.Request) {
	pushed(s, w, r, func(p exporter.Phones, b whichBody) error { return p.Unsubscribe(b.secret()) })
}

// servePushTest waits for the push service; with the phone's own network gone meanwhile the test goes on.
func (s *Server) servePushTest(w http.ResponseWriter, r *http.Request) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(r.Context()), testTime)
	defer cancel()
	pushed(s, w, r, func(p exporter.Phones, b whichBody) error { return p.Test(ctx, b.secret()) })
}

// pushed reads what was sent and does it.
func pushed[T any](s *Server, w http.ResponseWriter, r *http.Request, do func(exporter.Phones, T) error) {
	phones := s.channel()
	if phones == nil {
		refuse(w, http.StatusNotFound, "phones cannot sign up here; write a channel with push: under phone.channels")
		return
	}
	if body, ok := taken[T](w, r); ok {
		s.done(w, do(phones, body))
	}
}
