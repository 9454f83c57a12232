package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// Every command and action has its page with each of its flags, and the completion names them.
func TestManual(t *testing.T) {
	dir := t.TempDir()
	if code, out, errs := calling(t, "manual", "--to", dir); code != exitDone || out+errs != "" {
		t.Fatalf("exit %d, %q %q", code, out, errs)
	}
	read := func(name string) string {
		text, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		return string(text)
	}
	front := read("nestmon.1")
	for _, c := range commands {
		page := read("nestmon-" + c.name + ".1")
		if !strings.Contains(front, "\n.B "+roff(c.name)+"\n"+roff(c.short)) {
			t.Errorf("nestmon(1) does not name %s", c.name)
		}
		_, _, errs := calling(t, c.name, "-h")
		for line := range strings.Lines(errs) {
			if name, isFlag := strings.CutPrefix(line, "  -"); isFlag && !strings.Contains(page, "\n.B "+roff("--"+strings.Fields(name)[0])) {
				t.Errorf("the page of %s does not tell of -%s", c.name, strings.Fields(name)[0])
			}
		}
	}
	for _, section := range []string{"litter kindled", "litter report", "alarms shelve", "alarms test", "chores feed"} {
		if command, _, _ := strings.Cut(section, " "); !strings.Contains(read("nestmon-"+command+".1"), ".SS "+section+"\n") {
			t.Errorf("no page tells of %s", section)
		}
	}
	bash, err := exec.LookPath("bash")
	if err != nil {
		t.Skip("bash is not here")
	}
	for _, row := range []struct{ typed, want string }{
		{"nestmon li", "litter limits"},
		{"nestmon litter kin", "kindled"},
		{"nestmon litter kindled --bo", "--born"},
		{"nestmon probes ice", "ice-point"},
		{"nestmon limits --ki", "--kind"},
		{"nestmon backup --to " + dir + "/nestmon.b", dir + "/" + completionFile},
	} {
		script := "source " + filepath.Join(dir, completionFile) + `; COMP_WORDS=("$@"); COMP_CWORD=$(($# - 1)); _nestmon; echo "${COMPREPLY[@]}"`
		out, err := exec.Command(bash, append([]string{"-c", script, "bash"}, strings.Fields(row.typed)...)...).CombinedOutput()
		if got := strings.TrimSpace(string(out)); err != nil || got != row.want {
			t.Errorf("%q is completed to %q (%v), want %q", row.typed, got, err, row.want)
		}
	}
}

func TestManualRefuses(t *testing.T) {
	for _, args := range [][]string{{"manual"}, {"manual", "--to", filepath.Join(t.TempDir(), "nowhere")}} {
		if code, _, errs := calling(t, args...); code != exitWrongUse || !slices.ContainsFunc([]string{"write the folder", "make the folder first"}, func(s string) bool { return strings.Contains(errs, s) }) {
			t.Errorf("%v: exit %d, %s", args, code, errs)
		}
	}
}

func TestRoff(t *testing.T) {
	if got, want := roff(".a\n'b' \\ -c"), `\&.a`+"\n"+`\(aqb\(aq \e \-c`; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

func TestVersion(t *testing.T) {
	if code, out, errs := calling(t, "version"); code != exitDone || !strings.HasPrefix(out, "nestmon "+version()+", for ") || errs != "" {
		t.Errorf("exit %d, %q %q", code, out, errs)
	}
}
