package main

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"nestmon/exporter/archive"
	"nestmon/thresholds/alarm"
)

// says runs a command and returns what it printed.
func says(t *testing.T, want int, args ...string) string {
	t.Helper()
	var out, errs strings.Builder
	if code := run(t.Context(), args, stdio{out: &out, err: &errs}); code != want {
		t.Fatalf("%q ended with %d, want %d: %s%s", args, code, want, out.String(), errs.String())
	}
	return out.String() + errs.String()
}

// besideBarn is a configuration file for the commands beside a barn.
func besideBarn(t *testing.T, folder, more string) (file string) {
	t.Helper()
	file = filepath.Join(t.TempDir(), "barn.yaml")
	text := "site: {id: willow}\ndata: " + folder + "\ncontrol: " + filepath.Join(folder, "control") + "\n"
	probes, nests := "probes:\n", "nests:\n"
	for i := range 4 {
		probes += fmt.Sprintf("  - {id: box-%d, source: recorded}\n", i)
		nests += fmt.Sprintf("  - {id: box-%d, kind: wooden-box, air: box-%d}\n", i, i)
	}
	text += probes + nests
	if err := os.WriteFile(file, []byte(text+more), 0o640); err != nil {
		t.Fatal(err)
	}
	return file
}

// dump is all rows of all tables of an archive, as text, by file and table.
func dump(t *testing.T, dir string) map[string][]string {
	t.Helper()
	copied := t.TempDir()
	if err := archive.Copy(dir, copied); err != nil {
		t.Fatal(err)
	}
	all := map[string][]string{}
	for _, file := range []string{"book.db", "readings.db"} {
		db, err := sql.Open("sqlite", "file:"+filepath.ToSlash(filepath.Join(copied, file)))
		if err != nil {
			t.Fatal(err)
		}
		for _, table := range linesOf(t, db, "SELECT name FROM sqlite_master WHERE type = 'table'") {
			all[file+" "+table] = linesOf(t, db, "SELECT * FROM "+table)
		}
		if err := db.Close(); err != nil {
			t.Fatal(err)
		}
	}
	return all
}

func linesOf(t *testing.T, db *sql.DB, query string) (all []string) {
	t.Helper()
	found, err := db.Query(query)
	if err != nil {
		t.Fatal(err)
	}
	defer found.Close()
	names, err := found.Columns()
	if err != nil {
		t.Fatal(err)
	}
	for found.Next() {
		values, to := make([]any, len(names)), make([]any, len(names))
		for i := range values {
			to[i] = &values[i]
		}
		if err := found.Scan(to...); err != nil {
			t.Fatal(err)
		}
		line := ""
		for i, v := range values {
			if i > 0 {
				line += "|"
			}
			if b, ok := v.([]byte); ok {
				v = fmt.Sprintf("%x", b)
			}
			line += fmt.Sprint(v)
		}
		all = append(all, line)
	}
	if err := found.Err(); err != nil {
		t.Fatal(err)
	}
	return all
}

// replaced are the tables whose rows are taken out or changed as life goes on; all others are only added to.
var replaced = []string{"book.db standing", "book.db waiting", "book.db meta", "book.db sqlite_sequence", "readings.db rolled", "readings.db cursors"}

// moved restores a backup into a new folder.
func moved(t *testing.T, file string) (folder, words string) {
	t.Helper()
	folder = filepath.Join(barnFolder(t), "nestmon")
	return folder, says(t, exitDone, "restore", "--from", file, "--to", folder, "--config-to", filepath.Join(folder+"-etc", "nestmon.yaml"))
}

// A daemon is backed up again and again while it polls, is called and is told things, and its last backup is the daemon itself on another card:
// every row, the litter clock, what stands and what somebody has acknowledged.
func TestMoveToANewCard(t *testing.T) {
	folder, to := barnFolder(t), t.TempDir()
	file := besideBarn(t, folder, "")
	b := newBarn(t, folder, demoStart)
	b.poll(24, 10*time.Minute)
	says(t, exitDone, "litter", "kindled", "--nest", "box-3", "--born", "8", "--on", demoStart.AddDate(0, 0, -5).Format(time.DateOnly), "--config", file)
	b.poll(38, 90*time.Minute)
	b.link("URGENT: nest box-")
	if err := b.d.Act(t.Context(), alarm.Act{Action: alarm.Acknowledge, Nest: "box-0", Event: alarm.NestHeat, By: "anna"}); err != nil {
		t.Fatal(err)
	}

	var during []string
	busy, stop := make(chan struct{}), make(chan struct{})
	var polled atomic.Int64
	go func() { // polls without a pause, with alarms that come and go
		defer close(busy)
		for i := 0; ; i++ {
			select {
			case <-stop:
				return
			case b.pace.next <- time.Time{}:
				b.celsius.Store([]int64{38, 38, 24}[i/200%3])
				polled.Add(1)
			}
		}
	}()
	times := 5
	if testing.Short() {
		times = 2
	}
	for i := range times {
		for before := polled.Load(); polled.Load() < before+2; { // the next is only taken when this one is stored
			time.Sleep(time.Millisecond)
		}
		name := filepath.Join(to, fmt.Sprintf("%d.tar.gz", i))
		says(t, exitDone, "backup", "--config", file, "--to", name)
		during = append(during, name)
	}
	close(stop)
	<-busy
	b.poll(38, 90*time.Minute)
	if err := b.d.Act(t.Context(), alarm.Act{Action: alarm.Acknowledge, Nest: "box-0", Event: alarm.NestHeat, By: "anna"}); err != nil {
		t.Fatal(err)
	}
	var last backupDone
	if err := json.Unmarshal([]byte(says(t, exitDone, "backup", "--config", file, "--to", to, "--json")), &last); err != nil {
		t.Fatal(err)
	}
	if name := filepath.Base(last.File); !strings.HasPrefix(name, "nestmon-willow-20") || !strings.HasSuffix(name, ".tar.gz") {
		t.Errorf("its name is %s", name)
	}
	want := dump(t, folder)
	ages := nestAges(b.d)
	now := b.pace.Now()
	b.stop()
	if aside := b.d.archive.SetAside(); len(aside) > 0 {
		t.Errorf("the daemon set aside %q", aside)
	}

	polls := 0
	for _, name := range during {
		card, _ := moved(t, name)
		got := dump(t, card)
		for table, lines := range got {
			if slices.Contains(replaced, table) {
				continue
			}
			if len(lines) > len(want[table]) || !slices.Equal(lines, want[table][:len(lines)]) {
				t.Errorf("%s: %s is not what it was then: %d rows", filepath.Base(name), table, len(lines))
			}
		}
		if n := len(got["readings.db polls"]); n <= polls {
			t.Errorf("%s holds %d polls, the one before %d", name, n, polls)
		} else {
			polls = n
		}
	}

	card, words := moved(t, last.File)
	got := dump(t, card)
	if len(got) != len(want) || len(got) < 15 {
		t.Errorf("%d tables, want %d", len(got), len(want))
	}
	for table := range want {
		if !slices.Equal(got[table], want[table]) {
			t.Errorf("%s: %d rows, want %d, or others", table, len(got[table]), len(want[table]))
		}
	}
	for _, line := range []string{"1 litter", "sudo chown -R nestmon:nestmon " + card, "sudo systemctl start nestmon", "readings until " + now.Format("2006-01-02 15:04")} {
		if !strings.Contains(words, line) {
			t.Errorf("%q is not said:\n%s", line, words)
		}
	}
	if strings.Contains(words, "once more") {
		t.Errorf("a backup of this minute is called old:\n%s", words)
	}
	n := newBarn(t, card, now)
	defer n.stop()
	n.poll(38, 5*time.Minute)
	if n.status("box-0") != alarm.Acknowledged || n.status("box-1") != alarm.Unacknowledged {
		t.Errorf("box-0 is %s, box-1 is %s", n.status("box-0"), n.status("box-1"))
	}
	if got := nestAges(n.d); fmt.Sprint(got) != fmt.Sprint(ages) || ages["box-3"] < 5 {
		t.Errorf("the kits are %v days old, were %v", got, ages)
	}
	for len(n.titles) > 0 {
		if title := <-n.titles; !strings.HasPrefix(title, "STILL URGENT") || strings.Contains(title, "box-0") {
			t.Errorf("the phone is told %q", title)
		}
	}
	n.poll(20, 3*time.Hour)
	n.link("Over: nest box-0")
}

func nestAges(d *daemon) map[string]int {
	ages := map[string]int{}
	_ = d.command(context.Background(), func() error {
		for _, n := range d.judge.rabbitry.Snapshot().Nests {
			ages[n.ID] = n.AgeDays
		}
		return nil
	})
	return ages
}
