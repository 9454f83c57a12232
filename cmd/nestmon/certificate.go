package main

import (
	"context"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"os/user"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"nestmon/exporter/webconfig"
)

var certificateCommand = command{"certificate", "make, renew or show the page's certificate, signed by an authority of your own", runCertificate}

const certificateUsage = `certificate [make|renew|show] [--config F] [--dir D]
  make    an authority of this home and a certificate for the page, for [--name NAME,ADDRESS] and what publish.page.address says;
          as root, so that the daemon cannot read the authority's key: its own files are given to [--user nestmon]
  renew   the page's certificate by the same authority, [--due] only when it ends within 30 days; phones notice nothing
  show    what is there, and how phones and computers are made to trust it`

// The files of a certificate, in one folder.
const (
	authorityCert = "ca.crt"
	authorityKey  = "ca.key" // whoever has it can pass for this page
	pageCert      = "page.crt"
	pageKey       = "page.key"
	webConfigName = "web.yml"
)

// certificates are the files of one folder, and what they are for.
type certificates struct {
	cfg   *config
	dir   string
	names []string // what a flag says
	owner string   // who is given the daemon's files; empty for who asks
	now   time.Time
}

func runCertificate(_ context.Context, args []string, std stdio) int {
	action := "show"
	if len(args) > 0 && args[0] != "" && args[0][0] != '-' {
		action, args = args[0], args[1:]
	}
	fs := flags("certificate", certificateUsage, std)
	file := fs.String("config", installedConfig, "the daemon's configuration `file`")
	dir := fs.String("dir", "", "the `folder` of the files; the configuration's when left out")
	var names nestList
	fs.Var(&names, "name", "a `name` or address under which the page is opened; again, or with commas, for several")
	owner := fs.String("user", "nestmon", "the daemon's `user`, where root asks")
	due := fs.Bool("due", false, "renew only when the certificate ends within 30 days")
	if code, ok := parse(fs, args); !ok {
		return code
	}
	cfg, ok := openConfig("certificate", *file, std)
	if !ok {
		return exitWrongUse
	}
	c := certificates{cfg: cfg, dir: *dir, names: names, now: time.Now()}
	if c.dir == "" {
		c.dir = filepath.Dir(*file)
	}
	if os.Geteuid() == 0 {
		c.owner = *owner
	}
	var text string
	var err error
	switch action {
	case "make":
		text, err = c.make()
	case "renew":
		text, err = c.renew(*due)
	case "show":
		text, err = c.show()
	default:
		err = fmt.Errorf("action %q is unknown; write make, renew or show", action)
	}
	if err != nil {
		fmt.Fprintf(std.err, "nestmon certificate: %v\n", err)
		return exitWrongUse
	}
	fmt.Fprint(std.out, text)
	return exitDone
}

// wanted are the names on the command line and in the configuration.
func (c certificates) wanted() []string {
	names := c.names
	if p := c.cfg.Publish.Page; p != nil {
		if u, err := url.Parse(p.Address); err == nil && u.Hostname() != "" {
			names = append(names[:len(names):len(names)], u.Hostname())
		}
	}
	return names
}

// clock refuses a clock that was never set.
func (c certificates) clock() error {
	if c.now.Before(builtAfter) {
		return errors.New("the clock has never been set, and a certificate counts by it; set the clock first")
	}
	return nil
}

// make makes everything anew, or leaves nothing behind.
func (c certificates) make() (text string, err error) {
	if err := c.clock(); err != nil {
		return "", err
	}
	for _, name := range []string{authorityKey, authorityCert, pageKey, pageCert} {
		if _, err := os.Lstat(c.at(name)); !errors.Is(err, fs.ErrNotExist) {
			return "", fmt.Errorf("%s is there already and stays; 'nestmon certificate renew' makes a new certificate by the same authority; for another authority, which every phone must be told of, move the old files away", c.at(name))
		}
	}
	names := c.wanted()
	a, err := webconfig.NewAuthority(c.cfg.Site.Name, names, c.now)
	if err != nil {
		return "", fmt.Errorf("%w; add --name with what phones open, such as 192.168.1.20 or nests.local, or write it under publish.page.address", err)
	}
	ca, caKey, err := a.Files()
	if err != nil {
		return "", err
	}
	chain, key, err := a.Issue(names, nil, c.now)
	if err != nil {
		return "", err
	}
	var made []string
	defer func() {
		if err != nil {
			for _, file := range made {
				_ = os.Remove(file)
			}
		}
	}()
	webFile, text := c.webConfig()
	type newFile struct {
		path, text string
		mode       fs.FileMode
		daemon     bool
	}
	files := []newFile{
		{c.at(authorityKey), string(caKey), 0o600, false},
		{c.at(authorityCert), string(ca), 0o644, false},
		{c.at(pageKey), string(key), 0o600, true},
		{c.at(pageCert), string(chain), 0o644, true},
	}
	there := exists(webFile)
	if !there {
		files = append(files, newFile{webFile, text, 0o600, true})
	}
	for _, f := range files {
		if err = c.create(f.path, f.text, f.mode, f.daemon); err != nil {
			return "", err
		}
		made = append(made, f.path)
	}
	return madeText(c, webFile, there, text) + c.trustText(a.Certificate()), nil
}

func (c certificates) at(name string) string { return filepath.Join(c.dir, name) }

// webConfig is the file that tells the page of its certificate, and what stands in it.
func (c certificates) webConfig() (file, text string) {
	file = c.at(webConfigName)
	if p := c.cfg.Publish.Page; p != nil && p.WebConfigFile != "" {
		file = p.WebConfigFile
	}
	cert, key := c.at(pageCert), c.at(pageKey)
	if filepath.Dir(file) == filepath.Clean(c.dir) {
		cert, key = pageCert, pageKey
	}
	return file, fmt.Sprintf("tls_server_config:\n  cert_file: %s\n  key_file: %s\n", strconv.Quote(cert), strconv.Quote(key))
}

// create writes a file that is not there yet.
func (c certificates) create(path, text string, mode fs.FileMode, daemon bool) (err error) {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, mode)
	if err != nil {
		return fmt.Errorf("making a file: %w; run it as root, or name a folder of yours with --dir", err)
	}
	defer func() {
		if err = errors.Join(err, f.Close()); err != nil {
			_ = os.Remove(path)
		}
	}()
	if daemon {
		if err := c.give(f); err != nil {
			return err
		}
	}
	if err := f.Chmod(mode); err != nil { // whatever the umask says
		return err
	}
	if _, err := f.WriteString(text); err != nil {
		return err
	}
	return f.Sync()
}

// give makes a file the daemon's.
func (c certificates) give(f *os.File) error {
	if c.owner == "" {
		return nil
	}
	u, err := user.Lookup(c.owner)
	if err != nil {
		return fmt.Errorf("there is no user %q to give %s to; name the daemon's with --user", c.owner, f.Name())
	}
	uid, err := strconv.Atoi(u.Uid)
	if err != nil {
		return fmt.Errorf("user %q: %w", c.owner, err)
	}
	gid, err := strconv.Atoi(u.Gid)
	if err != nil {
		return fmt.Errorf("user %q: %w", c.owner, err)
	}
	return f.Chown(uid, gid)
}

// renew puts a new certificate in the place of the old one. The key stays, so that the two fit together at every instant.
func (c certificates) renew(due bool) (string, error) {
	if err := c.clock(); err != nil {
		return "", err
	}
	old, err := c.read(pageCert)
	if err != nil {
		return "", err
	}
	if end := old.NotAfter; due && c.now.Before(end.Add(-webconfig.Soon)) {
		return fmt.Sprintf("The certificate is good until %s; nothing was done.\n", end.Format(time.DateOnly)), nil
	}
	ca, err := os.ReadFile(c.at(authorityCert))
	if err != nil {
		return "", c.lost(err)
	}
	caKey, err := os.ReadFile(c.at(authorityKey))
	if err != nil {
		return "", c.lost(err)
	}
	key, err := os.ReadFile(c.at(pageKey))
	if err != nil {
		return "", c.lost(err)
	}
	a, err := webconfig.ReadAuthority(ca, caKey)
	if err != nil {
		return "", fmt.Errorf("%w; put back the files of %s that belong together", err, c.dir)
	}
	names := c.wanted()
	if len(c.names) == 0 {
		names = append(names, webconfig.Names(old)...)
	}
	chain, _, err := a.Issue(names, key, c.now)
	if err != nil {
		return "", err
	}
	fresh := c.at(pageCert) + ".new"
	if err := os.Remove(fresh); err != nil && !errors.Is(err, fs.ErrNotExist) { // of a renewal that was cut short
		return "", err
	}
	if err := c.create(fresh, string(chain), 0o644, true); err != nil {
		return "", err
	}
	if err := os.Rename(fresh, c.at(pageCert)); err != nil {
		return "", err
	}
	now, err := c.read(pageCert)
	if err != nil {
		return "", err
	}
	return fmt.Sprintf("The page's certificate is good for %s until %s. The running daemon shows it from the next connection on; phones have nothing to do.\n",
		strings.Join(webconfig.Names(now), ", "), now.NotAfter.Format(time.DateOnly)), nil
}

func (c certificates) show() (string, error) {
	ca, err := c.read(authorityCert)
	if err != nil {
		return "", err
	}
	page, err := c.read(pageCert)
	if err != nil {
		return "", err
	}
	return fmt.Sprintf("The page's certificate is good for %s until %s.\n", strings.Join(webconfig.Names(page), ", "), page.NotAfter.Format(time.DateOnly)) + c.trustText(ca), nil
}

// read is the first certificate of a file.
func (c certificates) read(name string) (*x509.Certificate, error) {
	text, err := os.ReadFile(c.at(name))
	if err != nil {
		return nil, c.lost(err)
	}
	if block, _ := pem.Decode(text); block != nil {
		if cert, err := x509.ParseCertificate(block.Bytes); err == nil {
			return cert, nil
		}
	}
	return nil, fmt.Errorf("%s holds no certificate; put back what 'nestmon certificate make' wrote there", c.at(name))
}

// lost says what to do about a file that cannot be read.
func (c certificates) lost(err error) error {
	if errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("%w; make it with: sudo nestmon certificate make, or name its folder with --dir", err)
	}
	return fmt.Errorf("%w; ask as root: sudo nestmon certificate", err)
}
