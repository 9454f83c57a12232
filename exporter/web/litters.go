package web

import (
	"errors"
	"net/http"
	"strconv"
)

// Page is a page that somebody else made: it stands alone.
type Page struct {
	Body   []byte
	Policy string // its Content-Security-Policy
}

// ErrNoReport says that of such a litter there is nothing to report. Its text is for a person.
var ErrNoReport = errors.New("there is no report")

// serveLitter shows the report of one litter.
func (s *Server) serveLitter(w http.ResponseWriter, r *http.Request) {
	id, err := strconv.ParseInt(r.PathValue("id"), 10, 64)
	if err != nil || id < 1 {
		refuse(w, http.StatusNotFound, "a litter is named by its number; /litters lists them")
		return
	}
	s.showPage(w, r, func() (Page, error) { return s.Options.Report(id) })
}

// serveLitters shows the list of them.
func (s *Server) serveLitters(w http.ResponseWriter, r *http.Request) {
	s.showPage(w, r, func() (Page, error) { return s.Options.Litters() })
}

func (s *Server) showPage(w http.ResponseWriter, r *http.Request, write func() (Page, error)) {
	if s.Options.Report == nil || s.Options.Litters == nil {
		refuse(w, http.StatusServiceUnavailable, "nobody here keeps a litter book; open the page of the running daemon")
		return
	}
	if !s.readSlot(w, r) {
		return
	}
	page, err := write()
	<-s.reads
	switch {
	case errors.Is(err, ErrNoReport):
		refuse(w, http.StatusNotFound, err.Error())
	case err != nil:
		s.unreadable(w, err)
	default:
		w.Header().Set("Content-Security-Policy", page.Policy)
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		w.Header().Set("Content-Length", strconv.Itoa(len(page.Body)))
		_, _ = w.Write(page.Body) // a reader that has gone away needs no answer
	}
}
