package board_test

import (
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
)

// ears are the phone: they keep what is posted.
type ears struct {
	*httptest.Server
	mu    sync.Mutex
	heard []string
}

func listen(t *testing.T) *ears {
	t.Helper()
	e := &ears{}
	e.Server = httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		text, _ := io.ReadAll(r.Body)
		e.mu.Lock()
		defer e.mu.Unlock()
		e.heard = append(e.heard, r.Header.Get("Title")+"\n"+string(text))
	}))
	t.Cleanup(e.Close)
	return e
}

func (e *ears) hear(words string) bool {
	e.mu.Lock()
	defer e.mu.Unlock()
	for _, text := range e.heard {
		if strings.Contains(text, words) {
			return true
		}
	}
	return false
}
