package main

import (
	"errors"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
)

// readOnly mounts a card of its own below the shed's archive, and returns what switches it to read-only and back. It skips where nothing may be mounted.
func (s *shed) readOnly(t *testing.T) func(bool) {
	t.Helper()
	if err := syscall.Mount("tmpfs", s.cfg.Data, "tmpfs", 0, "size=16m"); err != nil {
		t.Skipf("skipped: a read-only card needs the right to mount one (run as root): %v", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(s.cfg.Data, syscall.MNT_DETACH); err != nil {
			t.Error(err)
		}
	})
	return func(on bool) {
		flags := uintptr(syscall.MS_REMOUNT)
		if on {
			flags |= syscall.MS_RDONLY
		}
		if err := syscall.Mount("", s.cfg.Data, "", flags, ""); err != nil {
			t.Fatal(err)
		}
	}
}

// A daemon that starts on a card that is read-only watches, says that nothing is kept, knows the litters where their book can be read and says so where it
// cannot, and goes back to the card once it can be written: itself where it has read the book, and else it ends so that the next start takes up all there is.
func TestStartOnAReadOnlyCard(t *testing.T) {
	for _, row := range []struct {
		name  string
		spoil func(t *testing.T, file string) (mend func())
		words string // of the litter book, meanwhile: it cannot be read
		after string // and in the end
		knows bool   // the litters and all that was kept beside them, in the end
	}{
		{"as it was left", nil, "", "", true},
		{"with a book that cannot be read for a while", func(t *testing.T, file string) func() {
			t.Helper()
			hole := filepath.Join(t.TempDir(), "hole") // a null device of this test alone: locks belong to the device
			if err := errors.Join(syscall.Mknod(hole, syscall.S_IFCHR|0o600, 1<<8|3), syscall.Mount(hole, file, "", syscall.MS_BIND, "")); err != nil {
				t.Fatal(err)
			}
			return func() {
				if err := syscall.Unmount(file, syscall.MNT_DETACH); err != nil {
					t.Fatal(err)
				}
			}
		}, "no litter is known", "", true},
		{"with a damaged book", func(t *testing.T, file string) func() {
			t.Helper()
			if err := os.WriteFile(file, []byte("no database"), 0o600); err != nil {
				t.Fatal(err)
			}
			return func() {}
		}, "no litter is known", "enter every litter again", false},
	} {
		t.Run(row.name, func(t *testing.T) {
			s := newShed(t)
			readOnly := s.readOnly(t)
			s.live(t, demoStart, demoStart.Add(5*time.Minute), func(d *daemon) {
				s.demo.daemon = d
				err := errors.Join(s.demo.enterLitters(), d.act(alarm.Act{Action: alarm.TakeOut, Nest: "yard-1", Event: alarm.NestHeat, By: "anna"}), d.archive.SetMeta("push", "the phones"))
				if err != nil {
					t.Fatal(err)
				}
			})
			mend := func() {}
			if row.spoil != nil {
				mend = row.spoil(t, filepath.Join(s.cfg.Data, "book.db"))
			}
			readOnly(true)
			begin := demoStart.Add(5 * time.Minute)
			var meanwhile, end string
			var d *daemon
			note := book.Entry{What: book.Noted, Nest: "yard-1", Note: "on a read-only card"}
			atEnd := func(now time.Time) {
				_, end = d.faults.daemonWords(d, now)
				note.At = now
				if _, _, err := d.enter(now, []book.Entry{note}); err != nil {
					t.Errorf("an entry once it can be written: %v", err)
				}
			}
			events, _ := s.live(t, begin, begin.Add(10*time.Minute), func(made *daemon) {
				d = made
				unread := row.words != ""
				if knows := len(d.Book().Entries()) > 0; knows == unread {
					t.Errorf("it knows litters: %v", knows)
				}
				_, _, err := d.enter(begin, []book.Entry{note})
				if _, refused := errors.AsType[*book.Refusal](err); err == nil || refused || !strings.Contains(err.Error(), "nothing is saved") {
					t.Errorf("an entry: %v", err)
				}
				if err := d.archive.SetMeta("push", "no phones"); err == nil {
					t.Error("what was not read was written over")
				}
				asked := httptest.NewRecorder()
				if doorOf(d, http.NotFoundHandler()).ServeHTTP(asked, httptest.NewRequest(http.MethodGet, "/control/book.csv", nil)); (asked.Code != http.StatusOK) != unread {
					t.Errorf("the book's file: %d, %s", asked.Code, asked.Body)
				}
				if _, _, err := d.calendar(t.Context(), exporter.NewSecret("nobody's")); errors.Is(err, exporter.ErrLinkUnknown) == unread {
					t.Errorf("the calendar: %v", err)
				}
				if (pageBook{d}).Book() == nil != unread {
					t.Error("the page takes an empty book for the real one, or has none")
				}
				if signs := examineArchive(t.Context(), &patient{cfg: s.cfg, daemon: living{there: true, inside: new(d.inside())}}); len(signs) != 1 || signs[0].Verdict != failed || signs[0].Remedy == "" {
					t.Errorf("the doctor says %+v", signs)
				}
				d.mend = func(now time.Time) {
					switch now.Sub(begin) {
					case 3 * time.Minute:
						_, meanwhile = d.faults.daemonWords(d, now)
						mend()
						readOnly(false)
					case 5 * time.Minute:
						atEnd(now)
					}
				}
			})
			if s.anew != (row.words != "") {
				t.Errorf("it ended to be started anew: %v", s.anew)
			}
			if s.anew {
				at := begin.Add(5 * time.Minute)
				s.live(t, at, begin.Add(10*time.Minute), func(made *daemon) {
					d = made
					d.mend = func(now time.Time) {
						if now.Sub(at) == 2*time.Minute {
							atEnd(now)
						}
					}
				})
			}
			if !strings.Contains(meanwhile, "The archive cannot be written") || !strings.Contains(meanwhile, row.words) {
				t.Errorf("on the read-only card it says %q", meanwhile)
			}
			if strings.Contains(end, "cannot be") || !strings.Contains(end, row.after) || row.after == "" && end != "" {
				t.Errorf("once it can be written it says %q", end)
			}
			if !found(events, "", alarm.DaemonFault, alarm.Raised, alarm.Warning, begin, begin.Add(2*time.Minute)) {
				t.Errorf("no daemon-fault: %v", events)
			}
			if entries := d.Book().Entries(); (len(entries) > 1) != row.knows {
				t.Errorf("in the end it knows %d entries", len(entries))
			}
			a, err := archive.ReadOnly(s.cfg.Data, archive.Options{})
			if err != nil {
				t.Fatal(err)
			}
			defer a.Close()
			if _, newest, err := a.Newest(); err != nil || newest.Before(begin.Add(9*time.Minute)) {
				t.Errorf("the newest poll kept is of %v, %v", newest, err)
			}
			standing, err := a.Standing()
			if err != nil {
				t.Fatal(err)
			}
			if phones, err := a.Meta("push"); err != nil || (phones == "the phones") != row.knows {
				t.Errorf("of the phones it keeps %q, %v", phones, err)
			}
			quiet := d.snapshot().Quiet
			if out := slices.ContainsFunc(quiet, func(s alarm.Standing) bool { return s.Nest == "yard-1" && s.Status == alarm.OutOfService }); out != row.knows {
				t.Errorf("out of service: %v in %v", out, quiet)
			}
			if len(d.snapshot().Alarms) > 0 && len(standing) == 0 {
				t.Error("what stands was not kept afterwards")
			}
		})
	}
}
