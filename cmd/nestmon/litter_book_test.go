package main

import (
	"encoding/json"
	"errors"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
)

// herd is a barn whose commands the tests give.
type herd struct {
	*barn
	file string
}

func newHerd(t *testing.T) *herd {
	t.Helper()
	folder := barnFolder(t)
	h := &herd{newBarn(t, folder, demoStart), filepath.Join(folder, "nestmon.yaml")}
	t.Cleanup(h.stop)
	nests := ""
	for _, n := range []string{"box-0", "box-1", "box-2", "box-3"} {
		nests += "  - {id: " + n + ", kind: wooden-box, air: " + n + "}\n"
	}
	plant(t, h.file, "data: "+folder+"\ncontrol: "+filepath.Join(folder, "control")+"\nprobes: ["+
		"{id: box-0, source: recorded}, {id: box-1, source: recorded}, {id: box-2, source: recorded}, {id: box-3, source: recorded}]\nnests:\n"+nests)
	h.poll(24, 5*time.Minute)
	return h
}

// say gives a command; words in quotes stay together.
func (h *herd) say(command string) (code int, out, errs string) {
	h.t.Helper()
	var o, e strings.Builder
	var args []string
	for _, m := range regexp.MustCompile(`'([^']*)'|(\S+)`).FindAllStringSubmatch("litter "+command, -1) {
		args = append(args, m[1]+m[2])
	}
	code = run(h.t.Context(), append(args, "--config", h.file), stdio{out: &o, err: &e})
	return code, o.String(), e.String()
}

// must gives a command that is to be done.
func (h *herd) must(command string) string {
	h.t.Helper()
	code, out, errs := h.say(command)
	if code != exitDone {
		h.t.Fatalf("%s: exit %d\n%s%s", command, code, out, errs)
	}
	return out
}

// standing is the book and what the decisions make of it.
func (h *herd) standing() (entries []book.Entry, nests []thresholds.NestState) {
	_ = h.d.command(h.t.Context(), func() error {
		entries, nests = h.d.Book().Entries(), h.d.snapshot().Nests
		return nil
	})
	return entries, nests
}

// A litter's life in commands, each of which says what was written and what it means.
func TestLitterCommands(t *testing.T) {
	h := newHerd(t)
	for _, row := range []struct{ command, want, unusual string }{
		{"list", "No litter is open.", ""},
		{"bred --nest box-0 --doe Hazel --buck Moss --on 2031-07-20", "Saved as entry 1: litter 1 (Hazel, box-0): bred on 2031-07-20, doe Hazel, buck Moss. Kindling was expected on 2031-08-20 to 2031-08-21.", ""},
		{"bred --nest box-1 --doe 'Old Fern' --on 2031-07-21", "Saved as entry 2: litter 2 (Old Fern, box-1)", ""},
		{"palpated --nest box-0 --found pregnant --on 2031-08-01", "palpated on 2031-08-01, pregnant.", ""},
		{"box-in --nest box-0 --bedding straw --depth 3in --on 2031-08-17", "box put in on 2031-08-17, straw 7.62 cm (3 in) deep.", ""},
		{"kindled --nest box-0 --born 8 --dead 1 --on 2031-08-20", "Saved as entry 5: litter 1 (Hazel, box-0): kindled on 2031-08-20, 8 alive, 1 dead. 8 of 8 left.", ""},
		{"kindled --litter 2 --born 5 --on 2031-08-22", "5 of 5 left.", ""},
		{"partners --nest box-0", "2       box-1  Old Fern", ""},
		{"foster --from box-0 --to box-1 --kits 2 --on 2031-08-23", "Saved as entry 7: litter 1 (Hazel, box-0): 2 fostered out to litter 2 on 2031-08-23. 6 of 8 left.\nSaved as entry 8: litter 2 (Old Fern, box-1): 2 fostered in from litter 1 on 2031-08-23. 7 left.", ""},
		{"lost --nest box-0 --kits 2 --cause chilled --on 2031-08-24", "Saved as entry 9: litter 1 (Hazel, box-0): 2 lost on 2031-08-24, chilled. 4 of 8 left.", ""},
		{"correct 9 --kits 1", "Saved as entry 10, in place of entry 9: litter 1 (Hazel, box-0): 1 lost on 2031-08-24, chilled. 5 of 8 left.", ""},
		{"correct 8 --kits 3", "Saved as entry 11, in place of entry 8: litter 2 (Old Fern, box-1): 3 fostered in from litter 1 on 2031-08-23. 8 left.\nSaved as entry 12, in place of entry 7: litter 1", ""},
		{"weighed --nest box-0 --grams 9kg --kits 1 --on 2031-09-01", "1 weighed on 2031-09-01, 9000 g, 9000 g each.", "unusual: litter 1: 9000 g for one kit"},
		{"strike 13 --note 'the scale was wrong'", "entry 13 struck: the scale was wrong. 4 of 8 left.", ""},
		{"moved --nest box-0 --to box-2 --on 2031-09-02", "litter 1 (Hazel, box-2): moved to box-2 on 2031-09-02. 4 of 8 left.", ""},
		{"carry-in --nest box-2 --on 2031-09-03T20:00", "Saved as entry 16: nest box-2: carried indoors on 2031-09-03 20:00.", ""},
		{"carry-out --nest box-2 --on 2031-09-04T07:00", "carried out again", ""},
		{"note --nest box-2 --note 'calm, and dry' --on 2031-09-04", "noted on 2031-09-04: calm, and dry.", ""},
		{"list", "1       box-2  Hazel     2031-07-20  2031-08-20  19   4 of 8", ""},
		{"show --nest box-2", "9   2031-08-24  2 lost, chilled [does not count: entry 10]", ""},
		{"show --litter 1", "10  2031-08-24  1 lost, chilled [in place of entry 9]", ""},
		{"collected --nest box-2 --to pen --kits 4 --on 2031-09-05 --note 'eyes open, all well'", "4 collected to pen on 2031-09-05: eyes open, all well.", ""},
		{"weighed --litter 1 --kits 4 --grams 520 --on 2031-09-06", "litter 1 (Hazel, pen): 4 weighed on 2031-09-06, 520 g, 130 g each.", ""},
		{"note --nest pen --litter 1 --note 'all eat' --on 2031-09-06", "all eat.", ""},
		{"weaned --litter 1 --kits 4 --on 2031-09-07", "4 weaned on 2031-09-07. Closed: weaned. 4 of 8 left.", "unusual: litter 1: weaned on day 18 with 4 kits left"},
		{"sold --litter 1 --kits 3 --on 2031-09-07", "3 sold on 2031-09-07.", ""},
		{"kept --litter 1 --kits 1 --on 2031-09-07", "1 kept on 2031-09-07.", ""},
		{"bred --nest box-3 --doe Hazel --on 2031-08-05", "Saved as entry 25: litter 3", ""},
		{"did-not-kindle --nest box-3 --on 2031-09-07", "Closed: she did not kindle.", ""},
		{"ended --nest box-1 --on 2031-09-06", "Closed. 8 left.", "8 kits left; their nest is no longer watched"},
		{"doe Hazel", "Hazel: 2 litters, 1 kindled, 8 born alive in the 1 that were counted, 1 born dead. At weaning 4 lived, in 1 that were counted.\nLost: 1 chilled.", ""},
		{"nest box-2", "carried indoors", ""},
		{"list --all", "2031-09-07 did not kindle", ""},
	} {
		code, out, errs := h.say(row.command)
		if code != exitDone || !strings.Contains(out, row.want) || (row.unusual == "") != (errs == "") || !strings.Contains(errs, row.unusual) {
			t.Errorf("%s: exit %d\n%s%swant %q and %q", row.command, code, out, errs, row.want, row.unusual)
		}
	}
	for _, command := range []string{
		"list --all", "show --litter 1", "doe Hazel", "nest box-2", "bred --nest box-0 --on 2031-09-01", "partners --litter 2", "correct 28 --doe Fern", "strike 29", "export",
	} {
		out, v := h.must(command+" --json"), any(nil)
		if err := json.Unmarshal([]byte(out), &v); err != nil {
			t.Errorf("%s --json: %v\n%s", command, err, out)
		}
	}
}

// What is not said is the daemon's now, and a day that has a name is one of the calendar.
func TestWhenIsNow(t *testing.T) {
	h := newHerd(t)
	h.must("bred --nest box-0")
	entries, _ := h.standing()
	if e := entries[0]; e.Day || !e.At.Equal(h.pace.Now()) || e.By == "" {
		t.Errorf("%+v", e)
	}
	h.must("bred --nest box-1 --on yesterday")
	entries, _ = h.standing()
	if e := entries[1]; !e.Day || e.At != e.At.Truncate(24*time.Hour) || time.Since(e.At) > 72*time.Hour {
		t.Errorf("%+v", e)
	}
}

// A kindling that the daemon noticed is confirmed at the time at which it was noticed, once.
func TestNoticedKindlingIsConfirmed(t *testing.T) {
	h := newHerd(t)
	h.must("bred --nest box-0 --doe Hazel --on 2031-08-07")
	at := h.pace.Now().Add(-3 * time.Hour).Truncate(time.Minute)
	_ = h.d.command(t.Context(), func() error {
		h.d.judge.rabbitry.Recall([]alarm.Event{{Nest: "box-0", Name: alarm.Kindled, State: alarm.Noted, Since: at, Time: at}})
		return nil
	})
	h.poll(24, time.Minute)
	if out, want := h.must("confirm --nest box-0 --born 7"), "kindled on "+at.Format("2006-01-02 15:04")+", 7 alive. 7 of 7 left."; !strings.Contains(out, want) {
		t.Errorf("%s, want %q", out, want)
	}
	if code, _, errs := h.say("confirm --nest box-0 --born 7"); code != exitWrongUse || !strings.Contains(errs, "no kindling was noticed") {
		t.Errorf("twice: %d %s", code, errs)
	}
}

// The file of the book breaks while the daemon runs: the next write begins a new one, and all that was entered is in it.
func TestBrokenBookIsWrittenAgain(t *testing.T) {
	h := newHerd(t)
	h.must("bred --nest box-0 --doe Hazel --on 2031-08-07")
	h.must("bred --nest box-1 --doe Fern --on 2031-08-08")
	want, _ := h.standing()
	path := filepath.Join(filepath.Dir(h.file), "book.db")
	spoil(t, path)
	if _, err := h.d.archive.Entries(); err == nil {
		t.Fatal("nothing is broken")
	}
	h.must("note --nest box-0 --note calm")
	h.must("note --nest box-1 --note calm")
	aside := h.d.archive.SetAside()
	if len(aside) == 0 || !holdsBook(aside) {
		t.Errorf("set aside: %q", aside)
	}
	h.poll(24, 2*time.Minute)
	var said string
	_ = h.d.command(t.Context(), func() error {
		said = alarm.Find(h.d.snapshot().Alarms, "", alarm.DaemonFault).Text
		return nil
	})
	if !strings.Contains(said, "written again from memory") || strings.Contains(said, "lost: enter") {
		t.Errorf("it says %q", said)
	}
	stored, err := h.d.archive.Entries()
	if err != nil || len(stored) != 4 || mustJSON(t, stored[:2]) != mustJSON(t, want) {
		t.Errorf("%s, %v; want two more than %s", mustJSON(t, stored), err, mustJSON(t, want))
	}
}

// A write that was given up may have ended all the same: the next one fails, and the one after knows what is stored.
func TestWriteThatEndedLate(t *testing.T) {
	h := newHerd(t)
	_ = h.d.command(t.Context(), func() error {
		_, stored, _, err := h.d.Book().With(h.pace.Now(), book.Entry{What: book.Bred, Nest: "box-0", At: h.pace.Now()})
		if err == nil {
			err = h.d.archive.PutEntries(stored)
		}
		if err != nil {
			t.Error(err)
		}
		return nil
	})
	if code, _, errs := h.say("bred --nest box-1"); code != exitWrongUse || !strings.Contains(errs, "nothing is saved") {
		t.Errorf("%d %s", code, errs)
	}
	if out := h.must("bred --nest box-1"); !strings.Contains(out, "Saved as entry 2: litter 2 (box-1)") {
		t.Error(out)
	}
	if entries, _ := h.standing(); len(entries) != 2 || entries[0].Nest != "box-0" {
		t.Errorf("%+v", entries)
	}
}

// What was read again is decided by at once, also where nothing more is saved.
func TestWriteThatEndedLateIsDecidedBy(t *testing.T) {
	h := newHerd(t)
	h.must("bred --nest box-0")
	_ = h.d.command(t.Context(), func() error {
		_, stored, _, err := h.d.Book().With(h.pace.Now(), book.Entry{What: book.Kindled, Litter: 1, Nest: "box-0", At: h.pace.Now()})
		if err == nil {
			err = h.d.archive.PutEntries(stored)
		}
		h.d.unsure = true
		return err
	})
	if code, _, errs := h.say("kindled --nest box-0"); code != exitWrongUse {
		t.Errorf("%d %s", code, errs)
	}
	if _, nests := h.standing(); nests[0].Litter == nil || nests[0].Litter.Kindled.IsZero() {
		t.Errorf("the book holds kits, and the nest is judged without: %+v", nests[0].Litter)
	}
}

// spoil overwrites the pages of a database and of its log behind the back of who has it open.
func spoil(t *testing.T, path string) {
	t.Helper()
	for _, tail := range []string{"", "-wal"} {
		f, err := os.OpenFile(path+tail, os.O_WRONLY, 0)
		if err != nil {
			t.Fatal(err)
		}
		st, err := f.Stat()
		if err != nil {
			t.Fatal(err)
		}
		for at := int64(0); at < st.Size(); at += 1024 {
			if _, err := f.WriteAt([]byte(strings.Repeat("spoilt! ", 64)), at+100); err != nil {
				t.Fatal(err)
			}
		}
		if err := f.Close(); err != nil {
			t.Fatal(err)
		}
	}
}

// What cannot be true is refused with its reason, and nothing changes: not the book, and not what is decided by it.
func TestLitterRefusals(t *testing.T) {
	h := newHerd(t)
	h.must("bred --nest box-0 --doe Hazel --on 2031-07-20")
	h.must("kindled --nest box-0 --born 8 --on 2031-08-20")
	h.must("lost --nest box-0 --kits 1 --cause crushed --on 2031-08-21")
	h.must("bred --nest box-1 --doe Fern --on 2031-07-20")
	file := filepath.Join(filepath.Dir(h.file), "book.csv")
	for _, row := range []struct{ name, command, csv, want string }{
		{"kindled before bred", "kindled --nest box-1 --born 4 --on 2031-07-01", "", "kindled on 2031-07-01 is before bred on 2031-07-20; look at both dates"},
		{"more lost than born", "lost --nest box-0 --kits 8 --cause unfed --on 2031-08-23", "", "8 lost on 2031-08-23, but only 7 of litter 1 were left"},
		{"a nest that holds another", "kindled --nest box-0 --born 4 --on 2031-08-25", "", "nest box-0 holds litter 1, born on 2031-08-20"},
		{"moved to one that does", "bred --nest box-1 --doe Reed --on 2031-08-01", "", "nest box-1 is kept for litter 2"},
		{"in the future", "ended --nest box-0 --on 2031-09-10", "", "2031-09-10 is in the future; look at the date"},
		{"an empty nest", "lost --nest box-3 --kits 1 --cause unfed", "", "nest box-3 holds no open litter"},
		{"no such nest", "bred --nest box-9", "", `nest "box-9" is not in the configuration`},
		{"no nest", "bred --on 2031-09-01", "", "--nest is missing"},
		{"no cause", "lost --nest box-0 --kits 1", "", "--cause is missing: why they were lost: chilled"},
		{"a cause nobody knows", "lost --nest box-0 --kits 1 --cause luck", "", "write one of chilled"},
		{"a day nobody can read", "ended --nest box-0 --on 3/4/2031", "", "can be read in two ways"},
		{"no whole kits", "lost --nest box-0 --kits 1.5 --cause unfed", "", "is not a whole number"},
		{"a comma in a number", "box-in --nest box-1 --depth 7,5cm", "", "write a point, as in 7.5"},
		{"no such entry", "correct 99 --kits 2", "", "there is no entry 99"},
		{"corrected to what is false", "correct 2 --born 0", "", "1 lost on 2031-08-21, but only 0"},
		{"nothing to correct", "correct 2", "", "nothing to correct is said"},
		{"struck under its kits", "strike 2", "", "cannot stand without entry 2"},
		{"nothing was noticed", "confirm --nest box-1", "", "no kindling was noticed"},
		{"fostered to an empty nest", "foster --from box-0 --to box-3 --kits 2", "", `nest "box-3" holds no kits`},
		{"no such doe", "doe Nobody", "", "no litter of a doe"},
		{"no such action", "sing", "", "'nestmon litter -h' lists them"},

		{"a file: kindled before bred", "import FILE", "what,on,nest\nbred,2031-08-01,box-2\nkindled,2031-07-01,box-2\n", "FILE:3: kindled on 2031-07-01 is before bred on 2031-08-01"},
		{"a file: more lost than born", "import FILE", "what,on,nest,kits,cause\nlost,2031-08-22,box-0,3,unfed\nlost,2031-08-23,box-0,5,unfed\n", "FILE:3: 5 lost on 2031-08-23, but only 4 of litter 1 were left"},
		{"a file: in the future", "import FILE", "what,on,nest\nbred,2031-08-01,box-2\ncarried-in,2032-07-01,box-2\n", "FILE:3: 2032-07-01 is in the future"},
		{"a file: no such nest", "import FILE", "what,on,nest\nbred,2031-08-01,box-9\n", `FILE:2: nest "box-9" is not in the configuration`},
		{"a file: a nest that holds another", "import FILE", "what,on,nest,litter\nbred,2031-07-22,box-2,7\nkindled,2031-08-22,box-0,7\n", "FILE:3: nest box-0 holds litter 1"},
		{"a file: nothing the book knows", "import FILE", "what,on,nest\nsneezed,2031-08-01,box-0\n", `FILE:2: "sneezed" is nothing the book knows`},
		{"a file that is cut off", "import FILE", "what,on,nest,note\nbred,2031-08-01,box-2,\nnoted,2031-08-02,box-2,hal", "FILE:3: the last line has no end: the file may be cut off"},
		{"a file that is cut off in a row", "import FILE", "what,on,nest,note\nbred,2031-08-01,box-2,\nnoted,2031\n", "FILE:3: the row does not have the 4 fields of the header"},
		{"a file that is cut off in quotes", "import FILE", "what,on,nest,note\nbred,2031-08-01,box-2,\nnoted,2031-08-02,box-2,\"half of\n", "FILE:3: a quote is opened here and not closed"},
		{"a file with a stray quote", "import FILE", "what,on,nest,note\nnoted,2031-08-02,box-2,3\" deep\n", "FILE:2: "},
		{"a file with two lines in a note", "import FILE", "what,on,nest,note\nbred,2031-08-01,box-2,\nnoted,2031-08-02,box-2,\"one\ntwo\"\n", "FILE:3: note"},
		{"a file with semicolons", "import FILE", "what;on;nest\nbred;2031-08-01;box-2\n", "FILE:1: the columns are separated by semicolons"},
		{"a file with decimal commas", "import FILE", "what,on,nest,depth\nbred,2031-08-01,box-2,\nbox-in,2031-08-27,box-2,\"7,5\"\n", "FILE:3: depth: \"7,5\" is not a number; write a point, as in 7.5"},
		{"a file with bare decimal commas", "import FILE", "what,on,nest,depth\nbox-in,2031-08-27,box-2,7,5\n", "FILE:2: the row does not have the 4 fields"},
		{"a file with other dates", "import FILE", "what,on,nest\nbred,3/4/2031,box-2\n", `FILE:2: on: "3/4/2031" can be read in two ways`},
		{"a file of another encoding", "import FILE", "what,on,nest,doe\nbred,2031-08-01,box-2,M\xf6wchen\n", "FILE:2: this is not UTF-8 text"},
		{"a file of 16 bit letters", "import FILE", "\xff\xfew\x00", "FILE:1: the file is UTF-16"},
		{"a file with another column", "import FILE", "what,on,nest,weather\nbred,2031-08-01,box-2,dry\n", `FILE:1: column "weather" is unknown`},
		{"a file without days", "import FILE", "what,nest\nbred,box-2\n", "FILE:1: column on is missing"},
		{"a file with an empty day", "import FILE", "what,on,nest\nbred,,box-2\n", "FILE:2: bred on no day"},
		{"an empty file", "import FILE", " ", "FILE:1: the file is empty"},
		{"a file of replay", "import FILE", "nest,bred,kindled,born,ended\nbox-2,2031-08-01,,,\n", "FILE:1: this is a litters file"},
		{"an edited export", "import FILE", "entry,litter,what,on,nest,kits\n2,1,kindled,2031-08-20,box-0,9\n", "FILE:2: entry 2 stands in the book already and says something else: kindled on 2031-08-20, 8 alive"},
		{"no such file", "import nowhere.csv", "", "there is no such file"},
	} {
		if row.csv != "" {
			plant(t, file, row.csv)
		}
		entries, nests := h.standing()
		code, out, errs := h.say(strings.ReplaceAll(row.command, "FILE", file))
		if code != exitWrongUse || out != "" || !strings.Contains(errs, strings.ReplaceAll(row.want, "FILE", file)) {
			t.Errorf("%s: exit %d\n%s%swant %q", row.name, code, out, errs, row.want)
		}
		after, decided := h.standing()
		if !reflect.DeepEqual(after, entries) || !reflect.DeepEqual(decided, nests) {
			t.Errorf("%s: something has changed", row.name)
		}
		if stored, err := h.d.archive.Entries(); err != nil || len(stored) != len(entries) {
			t.Errorf("%s: %d entries are stored, %v; want %d", row.name, len(stored), err, len(entries))
		}
	}
}

// The book that is exported and imported elsewhere is the same book; what is there already is passed over; a file written by hand with what
// somebody knows is enough.
func TestBookInAndOut(t *testing.T) {
	h := newHerd(t)
	folder := filepath.Dir(h.file)
	hand, out := filepath.Join(folder, "hand.csv"), filepath.Join(folder, "out.csv")
	plant(t, hand, "\xef\xbb\xbfwhat,on,nest,doe,kits,cause,note\r\nbred,2031-05-01,box-0,Hazel,,,\r\nkindled,2031-06-01,box-0,,8,,\r\nlost,2031-06-03,box-0,,1,chilled,\"cold night, -3 °C\"\r\n"+
		",,,,,,\r\nweaned,2031-07-10,box-0,,7,,\r\nbred,2031-08-20T18:30,box-0,Hazel,,,\r\n")
	if said := h.must("import " + hand + " --dry-run"); !strings.Contains(said, "Would import "+hand+": 5 rows new, 0 in the book already, 2 litters new; nothing was written.") {
		t.Error(said)
	}
	if entries, _ := h.standing(); len(entries) != 0 {
		t.Errorf("a dry run wrote %d entries", len(entries))
	}
	if said := h.must("import " + hand); said != "Imported "+hand+": 5 rows new, 0 in the book already, 2 litters new.\n" {
		t.Error(said)
	}
	h.must("strike 4")
	h.must("correct 3 --kits 2 --note 'counted again'")
	h.must("weaned --litter 1 --kits 6 --on 2031-07-10")
	if said := h.must("import " + hand); !strings.Contains(said, "0 rows new, 5 in the book already, 0 litters new.") {
		t.Error(said)
	}
	plant(t, out, "an older book")
	h.must("export --out " + out)
	if said := h.must("import " + out); !strings.Contains(said, "0 rows new, 8 in the book already") {
		t.Error(said)
	}
	other := newHerd(t)
	if said := other.must("import " + out); !strings.Contains(said, "8 rows new, 0 in the book already, 2 litters new") {
		t.Error(said)
	}
	want, _ := h.standing()
	got, _ := other.standing()
	if a, b := mustJSON(t, got), mustJSON(t, want); a != b {
		t.Errorf("%s\nwant %s", a, b)
	}
	text, err := os.ReadFile(out)
	if err != nil || other.must("export") != string(text) {
		t.Errorf("exported again, it is another file; %v", err)
	}
	stored, err := other.d.archive.Entries()
	if err != nil || mustJSON(t, stored) != mustJSON(t, want) {
		t.Errorf("the archive holds %s, %v", mustJSON(t, stored), err)
	}
	_, nests := other.standing()
	if l := nests[0].Litter; l == nil || l.ID != 2 {
		t.Errorf("the decisions know of %+v", l)
	}
}

// Who enters a loss by the hour has looked in, until it is struck; a kindling in time was no chore.
func TestALossIsALook(t *testing.T) {
	h := newHerd(t)
	born, found := h.d.pace.Now().AddDate(0, 0, -3), h.d.pace.Now().Add(-2*time.Hour)
	h.must("bred --nest box-0 --doe Hazel --on " + born.AddDate(0, 0, -31).Format(time.DateOnly))
	h.must("kindled --nest box-0 --born 8 --on " + born.Format(time.DateOnly))
	chores := func() (look time.Time, done []alarm.Name) {
		h.poll(1, time.Minute)
		for _, task := range *h.d.tasks.Load() {
			switch {
			case task.Nest == "box-0" && !task.Done.IsZero():
				done = append(done, task.Chore)
			case task.Nest == "box-0" && task.Chore == alarm.InspectDue:
				look = task.From
			}
		}
		return look, done
	}
	before, done := chores()
	if len(done) > 0 {
		t.Errorf("done after a kindling in time: %q", done)
	}
	h.must("lost --nest box-0 --kits 1 --cause chilled --on " + found.Format(time.RFC3339))
	after, done := chores()
	if !after.After(found) || !after.After(before) || !slices.Equal(done, []alarm.Name{alarm.InspectDue}) {
		t.Errorf("next look at %v, before it at %v; done %q", after, before, done)
	}
	h.must("strike 3")
	if struck, done := chores(); !struck.Equal(before) || len(done) > 0 {
		t.Errorf("struck, the next look is at %v, before at %v; done %q", struck, before, done)
	}
}

// What fails half way leaves the file that was there, and nothing beside it; what is no file is written to.
func TestFilesAreReplacedWhole(t *testing.T) {
	folder := t.TempDir()
	file, link := filepath.Join(folder, "book.csv"), filepath.Join(folder, "link")
	plant(t, file, "old")
	if err := os.Symlink(file, link); err != nil {
		t.Fatal(err)
	}
	text := func(text string, end error) func(io.Writer) error {
		return func(w io.Writer) error {
			_, err := io.WriteString(w, text)
			return errors.Join(err, end)
		}
	}
	if err := replaceFile(file, text("half", io.ErrUnexpectedEOF)); !errors.Is(err, io.ErrUnexpectedEOF) {
		t.Error(err)
	}
	for _, want := range []string{"old", "new"} {
		if got, err := os.ReadFile(file); err != nil || string(got) != want {
			t.Errorf("%q, %v; want %q", got, err, want)
		}
		if err := replaceFile(link, text("new", nil)); err != nil {
			t.Error(err)
		}
	}
	if err := replaceFile(os.DevNull, text("gone", nil)); err != nil {
		t.Error(err)
	}
	if all, err := os.ReadDir(folder); err != nil || len(all) != 2 || all[1].Type() != os.ModeSymlink {
		t.Errorf("%v, %v", all, err)
	}
}

func mustJSON(t *testing.T, v any) string {
	t.Helper()
	text, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}
