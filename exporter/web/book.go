package web

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"nestmon/exporter"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
)

const (
	noBook     = "nobody here keeps a litter book; open the page of the running daemon"
	bookUnread = "the litter book cannot be read now; look at the card"
)

// Bounds of what is sent to the book, ours, no source. What is pressed once is one entry, or both sides of a fostering, or some struck together.
const (
	mostRows    = 20
	longestName = 40  // characters of what a person calls a device
	longestWhy  = 390 // bytes of a refusal: it may quote what was sent, and no sentence of the book is as long
)

// sendKey is 128 random bits, in hexadecimal digits.
var sendKey = regexp.MustCompile(`^[0-9a-f]{32}$`)

type enterBody struct {
	Key     string     `json:"key"`
	By      string     `json:"by"` // what the person calls the device
	Entries []book.Row `json:"entries"`
}

// check says what cannot be taken, whatever stands in the book.
func (b enterBody) check() string {
	switch {
	case !sendKey.MatchString(b.Key):
		return "the key is not 32 hexadecimal digits; make 128 random bits when somebody presses the button, and send the same again where no answer came"
	case len(b.Entries) == 0 || len(b.Entries) > mostRows:
		return fmt.Sprintf("%d entries were sent; send 1 to %d", len(b.Entries), mostRows)
	case len([]rune(b.By)) > longestName || strings.ContainsFunc(b.By, unicode.IsControl):
		return fmt.Sprintf("the name of this device is longer than %d characters, or has a control character in it; write another", longestName)
	}
	return ""
}

// by is who wrote it down.
func (b enterBody) by() string {
	if name := strings.TrimSpace(b.By); name != "" {
		return name + ", " + by
	}
	return by
}

// sending names the body. The digest is of what it says, not of how it is written.
func (b enterBody) sending() exporter.Sending {
	text, _ := json.Marshal(b) // texts always can, and the names of a map are written in order
	sum := sha256.Sum256(text)
	return exporter.Sending{Key: b.Key, Digest: hex.EncodeToString(sum[:])}
}

type enteredView struct {
	Stored []toldView `json:"stored"`
	Doubts []string   `json:"doubts"`
}

// refusalView is why the book does not take what was sent: which row of it, from 0, and what of it to look at first.
type refusalView struct {
	Error string      `json:"error"`
	Row   *int        `json:"row,omitempty"`
	Field *book.Field `json:"field,omitempty"`
}

// serveEnter writes into the litter book. A phone that got no answer sends the same again, and is answered as if it had been the first time.
func (s *Server) serveEnter(w http.ResponseWriter, r *http.Request) {
	body, ok := taken[enterBody](w, r)
	if !ok {
		return
	}
	if wrong := body.check(); wrong != "" {
		refuse(w, http.StatusBadRequest, wrong)
		return
	}
	if s.Options.Book == nil {
		refuse(w, http.StatusServiceUnavailable, noBook)
		return
	}
	var from []int
	ctx, cancel := within(r, doPatience)
	defer cancel()
	stored, doubts, err := s.Options.Book.EnterOnce(ctx, body.sending(), func(b *book.Book) (entries []book.Entry, err error) {
		entries, from, err = b.Read(body.Entries)
		for i := range entries {
			entries[i].By = body.by()
		}
		return entries, err
	})
	no, refused := errors.AsType[*book.Refusal](err)
	switch {
	case refused:
		v := refusalView{Error: strings.ToValidUTF8(no.Why[:min(len(no.Why), longestWhy)], ""), Row: &no.Row}
		if no.Row < len(from) {
			v.Row = &from[no.Row]
		}
		if no.Field != "" {
			v.Field = &no.Field
		}
		s.answerRefusal(w, v)
	case errors.Is(err, exporter.ErrOtherSend):
		refuse(w, http.StatusConflict, err.Error())
	case err != nil: // it may be stored later: the phone keeps it and sends it again
		w.Header().Set("Retry-After", "10")
		refuse(w, http.StatusServiceUnavailable, err.Error())
	default:
		b := s.Options.Book.Book()
		v := enteredView{make([]toldView, len(stored)), append([]string{}, doubts...)}
		for i, e := range stored {
			v.Stored[i] = tell(b, e)
		}
		s.answerJSON(w, v)
	}
}

func (s *Server) answerRefusal(w http.ResponseWriter, v refusalView) {
	body, _ := json.Marshal(v) // texts and numbers always can
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Content-Length", strconv.Itoa(len(body)))
	w.WriteHeader(http.StatusUnprocessableEntity)
	_, _ = w.Write(body)
}

// toldView is an entry as it stands in the book: in words, and by column so that it can be corrected.
type toldView struct {
	ID         int64     `json:"id"`
	Litter     int64     `json:"litter,omitempty"`
	What       book.What `json:"what"`
	At         time.Time `json:"at"`
	Day        bool      `json:"day,omitempty"` // only the day is known
	Nest       string    `json:"nest,omitempty"`
	Said       string    `json:"said"`
	By         string    `json:"by,omitempty"`
	Entered    time.Time `json:"entered"`
	Replaces   int64     `json:"replaces,omitempty"`
	ReplacedBy int64     `json:"replaced_by,omitempty"`
	Row        book.Row  `json:"row"`
}

// tell shows an entry as it was stored: what became of it since is left out, so that the same answer can be given again.
func tell(b *book.Book, e book.Entry) toldView {
	return toldView{
		ID: e.ID, Litter: e.Litter, What: e.What, At: e.At, Day: e.Day, Nest: e.Nest, Said: e.Say(""), By: e.By, Entered: e.Entered,
		Replaces: e.Replaces, Row: b.Row(e),
	}
}

func tellAll(b *book.Book, all []book.Told) []toldView {
	out := make([]toldView, len(all))
	for i, t := range all {
		out[i] = tell(b, t.Entry)
		out[i].ReplacedBy = t.ReplacedBy
	}
	return out
}

type formsView struct {
	Whats  []formView               `json:"whats"` // in the order of a litter's life
	Fields map[book.Field]fieldView `json:"fields"`
	Shows  map[alarm.Name]book.What `json:"shows"` // what one enters to show that a chore was done
	Most   int                      `json:"most_kits"`
}

type formView struct {
	What book.What    `json:"what"`
	Must []book.Field `json:"must"`
	May  []book.Field `json:"may"` // and every entry may say when, and a note
}

type fieldView struct {
	Takes   book.Takes `json:"takes"`
	Help    string     `json:"help"`
	Choices []string   `json:"choices,omitempty"`
	Longest int        `json:"longest,omitempty"`
}

// serveForms tells what can be entered, so that the page has no list of its own.
func (s *Server) serveForms(w http.ResponseWriter, _ *http.Request) {
	v := formsView{Fields: map[book.Field]fieldView{}, Shows: map[alarm.Name]book.What{}, Most: book.MostKits}
	for _, what := range book.Whats {
		f := book.Forms[what]
		v.Whats = append(v.Whats, formView{what, append([]book.Field{}, f.Must...), append([]book.Field{}, f.May...)})
	}
	for _, c := range book.Columns {
		f := fieldView{Takes: c.Takes, Help: c.Help, Choices: book.Choices(c.Name)}
		if f.Choices == nil && c.Takes == book.AWord {
			f.Longest = book.Longest(c.Name)
		}
		v.Fields[c.Name] = f
	}
	for _, name := range alarm.Names {
		if what := book.Shows(name); name.Chore() && what != "" {
			v.Shows[name] = what
		}
	}
	v.Shows[alarm.ConfirmKindlingDue] = book.Kindled // which the daemon noticed, and nobody has entered
	s.answerJSON(w, v)
}

// newestFirst sorts litters by when they were last something: the open ones by their nest are not among them.
func newestFirst(all []*book.Record) {
	slices.SortStableFunc(all, func(a, c *book.Record) int { return cmp.Or(c.Ended.Compare(a.Ended), cmp.Compare(c.ID, a.ID)) })
}
