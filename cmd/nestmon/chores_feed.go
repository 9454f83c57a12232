package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"

	"nestmon/exporter/web"
	"nestmon/exporter/webconfig"
)

const choresFeedUsage = `chores feed [--config F] [--new | --off | --out FILE] [--daily=false]
  prints the address under which a phone's calendar finds the chores; it is made when it is first asked for
  --new             another address; the old one is dead at once
  --off             no address
  --out FILE        writes the calendar into a file, to be imported once
  --daily=false     leaves out what comes every day, from now on; --daily puts it back`

func runChoresFeed(ctx context.Context, args []string, std stdio) int {
	fs := flags("chores feed", choresFeedUsage, std)
	file := fs.String("config", installedConfig, "the daemon's configuration `file`")
	anew := fs.Bool("new", false, "make another address")
	off := fs.Bool("off", false, "take the address away")
	out := fs.String("out", "", "write the calendar to this `file`")
	daily := fs.Bool("daily", true, "with what comes every day")
	asJSON := fs.Bool("json", false, "print one JSON value")
	if code, ok := parse(fs, args); !ok {
		return code
	}
	asked, ways := feedRequest{Do: feedAddress}, 0
	for _, way := range []struct {
		wanted bool
		do     string
	}{{*anew, feedNew}, {*off, feedOff}, {*out != "", feedFile}} {
		if way.wanted {
			asked.Do, ways = way.do, ways+1
		}
	}
	if ways > 1 {
		return wrongUse(fs, errors.New("write one of --new, --off and --out"))
	}
	if given(fs)["daily"] {
		asked.Daily = daily
	}
	cfg, ok := openConfig("chores feed", *file, std)
	if !ok {
		return exitWrongUse
	}
	err := choresFeed(ctx, cfg, asked, *out, *asJSON, std)
	if err != nil {
		fmt.Fprintf(std.err, "nestmon chores feed: %v\n", err)
		return exitWrongUse
	}
	return exitDone
}

func choresFeed(ctx context.Context, cfg *config, asked feedRequest, out string, asJSON bool, std stdio) error {
	at, words, err := feedPlace(cfg)
	if err != nil && (asked.Do == feedAddress || asked.Do == feedNew) {
		return err
	}
	var a feedAnswer
	if err := call(cfg.Control).post(ctx, "/control/calendar", asked, &a); err != nil {
		return err
	}
	if asked.Do == feedFile {
		if err := replaceFile(out, func(w io.Writer) error { _, err := io.WriteString(w, a.Text); return err }); err != nil {
			return fmt.Errorf("writing the calendar: %w; name a file in a folder of yours with --out", err)
		}
	}
	address := ""
	if a.Secret != "" {
		address = at + "/calendar/" + a.Secret + ".ics"
	}
	switch {
	case asJSON && asked.Do == feedFile:
		return printJSON(std.out, map[string]any{"file": out, "daily": a.Daily})
	case asJSON:
		return printJSON(std.out, map[string]any{"address": address, "daily": a.Daily})
	case asked.Do == feedFile:
		fmt.Fprintf(std.out, "The chores as they stand now are in %s. What changes later does not reach a calendar that imported it;\nto follow them, subscribe: nestmon chores feed\n", out)
	case asked.Do == feedOff && a.Was:
		fmt.Fprintln(std.out, "The calendar is off. The address it had is dead; phones keep what they fetched until the subscription is taken out there.")
	case asked.Do == feedOff:
		fmt.Fprintln(std.out, "The calendar is off; it had no address.")
	default:
		feedHelp(std.out, address, words, asked.Do == feedNew && a.Was, a.Daily)
	}
	return nil
}

// feedPlace is where phones reach the page, as far as the configuration says, and a word on it where it does not say it all.
func feedPlace(cfg *config) (at, words string, err error) {
	p := cfg.Publish.Page
	if p == nil || p.Listen == web.None {
		return "", "", errors.New("there is no page, and so nothing that a phone could fetch; write publish: {page: {listen: \"0.0.0.0:8380\"}} into the configuration and restart, or use --out FILE")
	}
	if p.Address != "" {
		return strings.TrimSuffix(p.Address, "/"), "", nil
	}
	host, port, err := net.SplitHostPort(p.Listen)
	if err != nil {
		return "", "", fmt.Errorf("publish.page.listen: %w", err)
	}
	scheme := "http"
	if webconfig.Secure(p.WebConfigFile) {
		scheme = "https"
	}
	ip := net.ParseIP(host)
	switch {
	case host == "localhost", ip != nil && ip.IsLoopback():
		words = "Only this board itself reaches that address: write listen: 0.0.0.0:" + port + " under publish.page, so that phones at home do."
	case host == "", ip != nil && ip.IsUnspecified():
		host = "BOARD"
		words = "In place of BOARD write the board's own name or address in your network; named under publish.page.address it stands here."
	}
	return scheme + "://" + net.JoinHostPort(host, port), words, nil
}

func feedHelp(out io.Writer, address, words string, dead, daily bool) {
	if dead {
		fmt.Fprint(out, "This is the new address. The old one is dead: subscribe anew on every phone.\n\n")
	}
	fmt.Fprintf(out, "The chores as a calendar. Whoever has this address can read them, without a password; show it to nobody else:\n\n    %s\n\n", address)
	if words != "" {
		fmt.Fprintf(out, "%s\n\n", words)
	}
	fmt.Fprint(out, `iPhone, iPad: in the calendar's list of calendars choose Add Calendar, Add Subscription Calendar ("Add Subscribed Calendar" in the
  settings of older ones), and paste the address. If it asks whether to go on without SSL: an address that begins with http has none.
Android: most calendars there show an account on the internet, whose service fetches from the internet and cannot reach an address at home.
  Install a calendar app or helper that subscribes to iCalendar (ICS, webcal) addresses from the phone itself.
A computer's calendar: new calendar, from the network, iCalendar; paste the address.

A phone fetches when it is in your network; away from it, it shows what it fetched last. Set it to fetch every hour or so. Where
web_config_file asks for a password, give the calendar app its user and password too.
`)
	if daily {
		fmt.Fprintln(out, "Without the daily look into the nests: nestmon chores feed --daily=false")
	}
	fmt.Fprintln(out, "Another address: nestmon chores feed --new. None: nestmon chores feed --off.")
}
