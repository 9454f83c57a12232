package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"
)

var doctorCommand = command{
	name:  "doctor",
	short: "say what would fail at night: the running daemon, this board, and every way to you",
	run:   runDoctor,
}

const doctorUsage = `doctor [--config F] [--send] [--json]
  check asks what a configuration means, and whether this machine has what it needs, before anything runs. doctor asks all of that too, and then
  what runs: the daemon and its probes, clock, card and supply, servers, certificates, the backup, and whether a message still reaches a phone.
  Each line is good, look, failed, or unseen: what could not be looked at is never called good. Ends with 0 when all that can be seen is good,
  1 when not, 2 when the configuration cannot be used. What a board never tells is unseen too, and makes no 1.`

// verdict is what came of one look.
type verdict string

// The verdicts, the worst first.
const (
	failed verdict = "failed" // it does not work, or would not in the next night
	look   verdict = "look"   // it works, and a person should look at it
	unseen verdict = "unseen" // nobody knows: it could not be looked at
	good   verdict = "good"
)

// sign is one thing that was found.
type sign struct {
	Topic   string  `json:"topic"`
	Verdict verdict `json:"verdict"`
	Text    string  `json:"text"`
	Remedy  string  `json:"remedy"`  // empty where all is good
	Lasting bool    `json:"lasting"` // unseen for as long as the board is this one: nothing to call anybody for
}

// counts is whether it makes the command end with a finding.
func (s sign) counts() bool { return s.Verdict != good && !s.Lasting }

// examination looks at one thing. It returns nothing where there is nothing to look at, such as a sink that is not configured.
type examination struct {
	topic string
	look  func(ctx context.Context, p *patient) []sign
	asks  bool // a person, who has all the time
}

// examinations are made in this order: what the others rest on first, and what asks a person last.
var examinations = []examination{
	{"configuration", examineConfiguration, false},
	{"daemon", examineDaemon, false},
	{"service", examineService, false},
	{"watchdog", examineWatchdog, false},
	{"buses", examineBuses, false},
	{"probes", examineProbes, false},
	{"secrets", examineSecrets, false},
	{"rights", examineRights, false},
	{"clock", examineClock, false},
	{"rtc", examineRTC, false},
	{"disk", examineDisk, false},
	{"card", examineCard, false},
	{"supply", examineSupply, false},
	{"archive", examineArchive, false},
	{"backup", examineBackup, false},
	{"servers", examineServers, false},
	{"prometheus", examineScrapes, false},
	{"certificates", examineCertificates, false},
	{"heartbeat", examineHeartbeat, false},
	{"phone", examinePhone, true},
}

// examinationTime is what one examination has: longer than every server's ten seconds, for a few of them in a row. Ours, no source.
const examinationTime = time.Minute

// asksTime is what one has that asks a person. Ours, no source.
const asksTime = 15 * time.Minute

// patient is what the doctor looks at.
type patient struct {
	cfg      *config
	file     string
	findings []finding
	root     string // below which the kernel shows its devices in sys/ and proc/
	now      time.Time
	self     account // who asks
	host     account // as whom the daemon runs; unknown without its files
	daemon   living
	std      stdio
	send     bool
}

func runDoctor(ctx context.Context, args []string, std stdio) int {
	fs := flags("doctor", doctorUsage, std)
	file := fs.String("config", installedConfig, "the daemon's configuration `file`")
	root := fs.String("root", "/", "`folder` below which the kernel shows its devices in sys/ and proc/")
	send := fs.Bool("send", false, "send a test message through every channel without asking; where nobody can be asked, none is sent")
	asJSON := fs.Bool("json", false, "print one JSON value")
	if code, ok := parse(fs, args); !ok {
		return code
	}
	c, findings, err := loadConfig(*file)
	if err != nil {
		fmt.Fprintf(std.err, "nestmon doctor: %v\n", err)
		return exitWrongUse
	}
	if anyError(findings) {
		writeFindings(std.err, *file, findings)
		return exitWrongUse
	}
	p := &patient{cfg: c, file: *file, findings: findings, root: *root, now: time.Now(), self: whoAsks(), host: hostOf(c), std: std, send: *send}
	p.daemon = reachDaemon(ctx, c)
	signs := []sign{}
	for _, e := range examinations {
		found := examine(ctx, e, p)
		if signs = append(signs, found...); !*asJSON {
			for _, s := range found {
				s.write(std.out)
			}
		}
		if ctx.Err() != nil {
			return exitWrongUse // broken off: what was not looked at is not good
		}
	}
	if *asJSON {
		if printJSON(std.out, signs) != nil {
			return exitWrongUse
		}
	} else {
		writeSum(std.out, signs)
	}
	if slices.ContainsFunc(signs, sign.counts) {
		return exitFinding
	}
	return exitDone
}

// examine makes one examination, and does not wait for it for ever: a bus or a card that hangs is a finding.
func examine(ctx context.Context, e examination, p *patient) []sign {
	limit := examinationTime
	if e.asks {
		limit = asksTime
	}
	ctx, cancel := context.WithTimeout(ctx, limit)
	defer cancel()
	done := make(chan []sign, 1)
	go func() { done <- e.look(ctx, p) }()
	var found []sign
	select {
	case found = <-done:
	case <-time.After(limit + time.Second): // more, for what ends by ctx and says so itself
		found = []sign{{Verdict: unseen, Text: fmt.Sprintf("no answer within %.0f s", limit.Seconds()), Remedy: "what hangs there hangs for the daemon too: look at wires, card and network, and restart the board"}}
	}
	for i := range found {
		if found[i].Topic == "" {
			found[i].Topic = e.topic
		}
	}
	return found
}

func (s sign) write(out io.Writer) {
	head := fmt.Sprintf("%-7s %s: ", s.Verdict, s.Topic)
	text := s.Text
	if s.Remedy != "" {
		text += "; " + s.Remedy
	}
	fmt.Fprintln(out, head+text)
}

// writeSum says in one line how it stands.
func writeSum(out io.Writer, signs []sign) {
	n := map[verdict]int{}
	lasting := 0
	for _, s := range signs {
		if n[s.Verdict]++; s.Lasting {
			lasting++
		}
	}
	text := fmt.Sprintf("\n%d good, %d to look at, %d failed, %d could not be seen", n[good], n[look], n[failed], n[unseen])
	if lasting > 0 {
		text += fmt.Sprintf(" (%d of them never on this board)", lasting)
	}
	fmt.Fprintln(out, text)
}

// fine, lookAt, fails and blind make the four kinds of signs.
func fine(text string, args ...any) sign {
	return sign{Verdict: good, Text: fmt.Sprintf(text, args...)}
}

func lookAt(remedy, text string, args ...any) sign {
	return sign{Verdict: look, Text: fmt.Sprintf(text, args...), Remedy: remedy}
}

func fails(remedy, text string, args ...any) sign {
	return sign{Verdict: failed, Text: fmt.Sprintf(text, args...), Remedy: remedy}
}

func blind(remedy, text string, args ...any) sign {
	return sign{Verdict: unseen, Text: fmt.Sprintf(text, args...), Remedy: remedy}
}

// never is what this board has nothing to tell of by.
func never(remedy, text string, args ...any) sign {
	s := blind(remedy, text, args...)
	s.Lasting = true
	return s
}

// fromCheck makes a sign of what check says in one piece: what is wrong, and behind the first semicolon what to do.
func fromCheck(v verdict, text string) sign {
	what, remedy, ok := strings.Cut(text, "; ")
	if !ok {
		remedy = "put that right, then ask again"
	}
	return sign{Verdict: v, Text: what, Remedy: remedy}
}

func orElse(text, other string) string {
	if text == "" {
		return other
	}
	return text
}

// askAs is how the same is asked as somebody who may see it.
const askAs = "ask as the daemon's user: sudo -u nestmon nestmon doctor"

// account is who a process is.
type account struct {
	uid   uint32
	gids  []uint32
	name  string
	known bool
}

func (u account) root() bool { return u.known && u.uid == 0 }

// able is whether who asks sees at least what the daemon sees. Nobody but root and the daemon's own user does.
func (p *patient) able() bool {
	return p.self.root() || p.self.known && p.host.known && p.self.uid == p.host.uid || !p.host.known && !p.daemon.there
}

func whoAsks() account { return accountOf(uint32(os.Geteuid())) }
