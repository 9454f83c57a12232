package main

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"nestmon/thresholds/alarm"
)

// told waits until no message waits any more and returns the titles of those that came.
func (b *barn) told() (titles []string) {
	b.t.Helper()
	for end := time.Now().Add(20 * time.Second); ; time.Sleep(5 * time.Millisecond) {
		n, _, err := b.d.archive.Waiting("mobile")
		if err != nil || time.Now().After(end) {
			b.t.Fatalf("%d messages still wait, %v", n, err)
		}
		if n == 0 {
			break
		}
	}
	for len(b.titles) > 0 {
		titles = append(titles, <-b.titles)
		<-b.links
	}
	return titles
}

// A backup of three days ago, in which an urgent alarm, its end and the next one wait for a phone that was away, half of it acknowledged. After the
// restore none of the old messages is sent, least of all that it is over. What stood stands, and calls once more, also where it had been
// acknowledged then; it ends only by what the probes say. What was out of service stays so.
func TestOldBackupCallsForWhatStandsAlone(t *testing.T) {
	long(t)
	folder := barnFolder(t)
	b := newBarn(t, folder, demoStart)
	b.poll(24, 2*time.Hour)
	b.away.Store(true)
	b.poll(38, 90*time.Minute)
	b.poll(24, 2*time.Hour)
	b.poll(38, 90*time.Minute)
	for _, a := range []alarm.Act{{Action: alarm.Acknowledge, Nest: "box-0", Event: alarm.NestHeat, By: "anna"}, {Action: alarm.TakeOut, Nest: "box-3", By: "anna"}} {
		if err := b.d.Act(t.Context(), a); err != nil {
			t.Fatal(err)
		}
	}
	if n, _, err := b.d.archive.Waiting("mobile"); err != nil || n < 6 {
		t.Fatalf("%d messages wait, %v", n, err)
	}
	b.ask(t, feedRequest{Do: feedAddress})
	file := filepath.Join(t.TempDir(), "b.tar.gz")
	says(t, exitDone, "backup", "--config", besideBarn(t, folder, ""), "--to", file)
	then := b.pace.Now()
	b.stop()
	for name, row := range map[string]struct {
		celsius int64
		ends    bool
	}{"cool by now": {24, true}, "hot again": {38, false}} {
		t.Run(name, func(t *testing.T) {
			card := filepath.Join(barnFolder(t), "nestmon")
			s := settling{now: time.Now().Add(72 * time.Hour)}
			done, err := s.restore(t.Context(), file, card, "")
			if err != nil {
				t.Fatal(err)
			}
			var words strings.Builder
			writeRestored(&words, done, s)
			if !s.old || s.withheld < 6 || !strings.Contains(words.String(), "is not of this hour") || !strings.Contains(words.String(), "chores feed --new") {
				t.Errorf("%d messages are withheld:\n%s", s.withheld, words.String())
			}
			n := newBarn(t, card, then.Add(72*time.Hour))
			defer n.stop()
			n.poll(row.celsius, time.Minute)
			first := n.told()
			slices.Sort(first)
			if len(first) != 2 || !strings.HasPrefix(first[0], "URGENT: nest box-0: nest too hot") || !strings.HasPrefix(first[1], "URGENT: nest box-1") {
				t.Errorf("told at the start: %q", first)
			}
			n.poll(row.celsius, 50*time.Minute)
			if n.status("box-0") != alarm.Unacknowledged || n.status("box-1") != alarm.Unacknowledged {
				t.Errorf("box-0 is %s, box-1 is %s", n.status("box-0"), n.status("box-1"))
			}
			repeats := n.told()
			for _, title := range repeats {
				if !strings.HasPrefix(title, "STILL URGENT") {
					t.Errorf("told within the hour: %q", title)
				}
			}
			if len(repeats) > 5 {
				t.Errorf("%d calls within the hour: %q", len(repeats), repeats)
			}
			n.poll(row.celsius, 40*time.Minute)
			over := slices.ContainsFunc(n.told(), func(title string) bool { return strings.HasPrefix(title, "Over: nest box-") })
			if over != row.ends {
				t.Errorf("told that it is over: %v", over)
			}
			quiet := []alarm.Status{}
			_ = n.d.command(t.Context(), func() error {
				for _, st := range n.d.snapshot().Quiet {
					if st.Nest == "box-3" {
						quiet = append(quiet, st.Status)
					}
				}
				return nil
			})
			if !slices.Contains(quiet, alarm.OutOfService) {
				t.Errorf("box-3 is %v, was out of service", quiet)
			}
		})
	}
}

// Files that the configuration names stay out unless they are asked for, and are named; what makes no sense is refused with what to do.
func TestBackupAndItsSecrets(t *testing.T) {
	folder, dir := barnFolder(t), t.TempDir()
	newBarn(t, folder, demoStart).stop()
	word := filepath.Join(dir, "page.password")
	plant(t, word, "invented")
	t.Setenv("NESTMON_TEST_ADDRESS", "https://phone.example/invented")
	file := besideBarn(t, folder, "publish: {page: {listen: none, password_file: "+word+"}}\nphone: {channels: [{name: mobile, url: \"${NESTMON_TEST_ADDRESS}\"}]}\n")
	without, with := filepath.Join(dir, "without.tar.gz"), filepath.Join(dir, "with.tar.gz")
	card := func(from, name string) (string, string) {
		to := filepath.Join(dir, name)
		return to, says(t, exitDone, "restore", "--from", from, "--to", to)
	}
	text := says(t, exitDone, "backup", "--config", file, "--to", without)
	for _, want := range []string{"publish.page.password_file  " + word, "the environment variable NESTMON_TEST_ADDRESS", "holds no password", "0 litters"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is not said:\n%s", want, text)
		}
	}
	if text = says(t, exitDone, "backup", "--config", file, "--to", with, "--secrets"); strings.Contains(text, word) || !strings.Contains(text, "It holds passwords") {
		t.Errorf("with secrets it says:\n%s", text)
	}
	if err := os.Remove(word); err != nil {
		t.Fatal(err)
	}
	to, text := card(without, "card")
	if !strings.Contains(text, "bring publish.page.password_file  "+word) || !strings.Contains(text, "sudo install -m 640 -g nestmon "+filepath.Join(to, "nestmon.yaml")) {
		t.Errorf("says:\n%s", text)
	}
	if _, err := os.Stat(filepath.Join(to, "secrets")); !errors.Is(err, os.ErrNotExist) {
		t.Error("there are secrets in it")
	}
	to, text = card(with, "other")
	packed := filepath.Join(to, "secrets", "1-page.password")
	if b, err := os.ReadFile(packed); string(b) != "invented\n" && string(b) != "invented" || err != nil || !strings.Contains(text, "sudo install -m 600 -o nestmon "+packed+" "+word) {
		t.Errorf("the secret is %q, %v; says:\n%s", b, err, text)
	}
	t.Setenv("NESTMON_TEST_ADDRESS", "")
	if text = says(t, exitDone, "backup", "--config", file, "--to", dir+"/"); !strings.Contains(text, "taken in as it is") {
		t.Errorf("a variable that only the service has is said as:\n%s", text)
	}
	for _, row := range []struct{ args, want string }{
		{"backup --to " + folder, "another one with --to"},
		{"backup --to " + filepath.Join(folder, "x.tar.gz"), "another one with --to"},
		{"backup --to " + with, "replace it with --force"},
		{"backup --to " + filepath.Join(dir, "nowhere", "x"), "make it first"},
		{"restore --from " + with, "--from and --to are needed"},
		{"restore --from " + word + " --to " + to, "no such file"},
		{"restore --from " + with + " --to " + dir, "holds other things"},
	} {
		args := strings.Fields(row.args)
		if args[0] == "backup" {
			args = append(args, "--config", file)
		}
		if text := says(t, exitWrongUse, args...); !strings.Contains(text, row.want) {
			t.Errorf("%s: %s", row.args, text)
		}
	}
	empty := besideBarn(t, t.TempDir(), "")
	if text := says(t, exitWrongUse, "backup", "--config", empty, "--to", t.TempDir()); !strings.Contains(text, "start the daemon there once") {
		t.Errorf("without an archive: %s", text)
	}
}
