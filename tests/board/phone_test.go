package board_test

import (
	"fmt"
	"io"
	"mime"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"testing"
)

// ears are the phone: they keep what is posted.
type ears struct {
	*httptest.Server
	mu   sync.Mutex
	said []string
}

func listen(t *testing.T) *ears {
	t.Helper()
	e := &ears{}
	e.Server = httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		text, _ := io.ReadAll(r.Body)
		e.mu.Lock()
		defer e.mu.Unlock()
		title, _ := new(mime.WordDecoder).DecodeHeader(r.Header.Get("Title"))
		e.said = append(e.said, title+"\n"+string(text))
	}))
	t.Cleanup(e.Close)
	return e
}

// waitFor waits until a message holds the words.
func (e *ears) waitFor(m *machine, words string) {
	m.t.Helper()
	m.eventually(func() bool { return e.heard(words) }, func() string {
		return fmt.Sprintf("the phone never heard %q, but:\n%s", words, strings.Join(e.all(), "\n\n"))
	})
}

func (e *ears) heard(words string) bool {
	return slices.ContainsFunc(e.all(), func(text string) bool { return strings.Contains(text, words) })
}

func (e *ears) all() []string {
	e.mu.Lock()
	defer e.mu.Unlock()
	return slices.Clone(e.said)
}
