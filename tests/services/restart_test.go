package services_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// The built program, stopped and started again: it goes on where it stood; with a spoilt state it says so and looks at the last day
// again; killed, it starts from what it kept before.
func TestTheProgramRemembers(t *testing.T) {
	t.Parallel()
	b, dir := newBoard(t), t.TempDir()
	data := filepath.Join(dir, "data")
	page := fmt.Sprintf("127.0.0.1:%d", freePort(t))
	config := write(t, filepath.Join(dir, "nestmon.yaml"), fmt.Sprintf(`
data: %s
`+oak+`publish:
  page: {listen: "%s"}
`, data, page))
	state := filepath.Join(data, "state")
	lives := func(end func(*process)) string {
		t.Helper()
		daemon := launch(t, built(t), "run", "--config", config, "--root", b.root)
		daemon.ready(t, answers("http://"+page+"/healthz"))
		end(daemon)
		return daemon.out.String()
	}
	stops := (*process).end
	if said := lives(stops); strings.Contains(said, "remembered") {
		t.Errorf("the first start: %s", said)
	}
	kept, err := os.ReadFile(state)
	if err != nil {
		t.Fatal(err)
	}
	if said := lives(stops); strings.Contains(said, "remembered") {
		t.Errorf("a second start: %s", said)
	}
	if after, err := os.ReadFile(state); err != nil || string(after) == string(kept) {
		t.Errorf("nothing new is kept at the end: %v", err)
	}
	for _, spoilt := range []string{"", "this was a state once", string(kept[:len(kept)/2])} {
		write(t, state, spoilt)
		if said := lives(stops); !strings.Contains(said, "what was remembered cannot be used; looking at the last day again") {
			t.Errorf("with a spoilt state: %s", said)
		}
	}
	if said := lives((*process).kill); strings.Contains(said, "remembered") {
		t.Errorf("after the spoilt ones: %s", said)
	}
	if said := lives(stops); strings.Contains(said, "remembered") {
		t.Errorf("after a kill: %s", said)
	}
}
