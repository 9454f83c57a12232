package services_test

import (
	"fmt"
	"strings"
	"testing"
	"time"
)

// The daemon is killed while an odd answer is on its way, and again when it has it: afterwards everything arrives once, and whatever crossed
// the wire more often was the same each time.
func TestKilledInTheMiddleOfEveryAnswer(t *testing.T) {
	t.Parallel()
	server := startInfluxd(t)
	for i, row := range oddAnswers {
		t.Run(row.name, func(t *testing.T) {
			t.Parallel()
			const polls = 40
			db := fmt.Sprintf("odd%d", i)
			server.query(t, "CREATE DATABASE "+db)
			s := shed{nests: 1, dir: t.TempDir()}
			s.fill(t, polls, time.Now().Add(-time.Hour).Truncate(time.Second))
			want := map[point]bool{}
			s.each(t, func(p storedPoll) {
				for _, r := range p.Readings {
					want[point{r.Probe, r.Quantity.String(), r.Time.Unix(), r.Value}] = true
				}
			})
			w, page := newWire(t, server.url), fmt.Sprintf("127.0.0.1:%d", freePort(t))
			config := s.config(t, fmt.Sprintf("  page: {listen: %q}\n  influxdb: {url: %q, bucket: %s, token: %q}", page, w.url(), db, goodToken))
			run := func() *process { return launch(t, built(t), "run", "--config", config, "--root", t.TempDir()) }

			w.pretends(row.answer)
			held := w.hold(1, unsent)
			daemon := run()
			<-held
			daemon.kill()
			w.letGo()
			if row.name != silence { // its error comes after the 20 s of a delivery
				daemon = run()
				eventually(t, "the page tells it", func() bool { return strings.Contains(influxOf(t, page).Error, row.want) })
				daemon.kill()
			}
			w.pretends(nil)
			run()
			eventually(t, "everything", func() bool { return len(server.points(t, db)) == len(want) })
			compare(t, server.points(t, db), want)
			if len(want) != polls*3 || w.repeated() < polls*2 {
				t.Errorf("%d readings in the archive, %d lines repeated", len(want), w.repeated())
			}
		})
	}
}
