package main

import (
	"bytes"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"nestmon/exporter/web"
	"nestmon/exporter/webconfig"
)

// certify gives the command; the daemon's files stay with who asks.
func certify(t *testing.T, args ...string) (code int, out, errs string) {
	t.Helper()
	var o, e bytes.Buffer
	code = run(t.Context(), append([]string{"certificate"}, args...), stdio{strings.NewReader(""), &o, &e})
	return code, o.String(), e.String()
}

// What the command made opens the page, and the authority is fetched from it as the steps say.
func TestCertificateOpensThePage(t *testing.T) {
	dir := t.TempDir()
	yaml := filepath.Join(dir, "nestmon.yaml")
	plant(t, yaml, onBoard+"publish: {page: {listen: '127.0.0.1:8380', address: 'http://nests.example:8380'}}\n")
	all := []string{"--config", yaml, "--user", "root"}
	if code, _, errs := certify(t, append([]string{"renew"}, all...)...); code != exitWrongUse || !strings.Contains(errs, "sudo nestmon certificate make") {
		t.Errorf("renewed before it was made: %d %s", code, errs)
	}
	code, out, errs := certify(t, append([]string{"make", "--name", "127.0.0.1,barn.local"}, all...)...)
	if code != exitDone {
		t.Fatalf("%d %s", code, errs)
	}
	for _, want := range []string{
		"publish: page: {web_config_file: " + filepath.Join(dir, "web.yml") + "}, and https:// in place of http:// in address", "certificate renew --due", "https://nests.example:8380/ca.crt",
		"Android:", "iPhone, iPad:", "Windows:", "macOS:", "Linux, Debian", "Firefox on any computer:",
	} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
	for name, mode := range map[string]os.FileMode{authorityKey: 0o600, pageKey: 0o600, webConfigName: 0o600, authorityCert: 0o644, pageCert: 0o644} {
		if info, err := os.Stat(filepath.Join(dir, name)); err != nil || info.Mode() != mode {
			t.Errorf("%s: %v, %v", name, info, err)
		}
	}
	before := readAll(t, dir)
	if code, _, errs := certify(t, append([]string{"make", "--name", "127.0.0.1"}, all...)...); code != exitWrongUse || !strings.Contains(errs, "is there already and stays") || readAll(t, dir) != before {
		t.Errorf("made twice: %d %s", code, errs)
	}

	s := web.New(web.Config{Listen: "127.0.0.1:0", WebConfigFile: filepath.Join(dir, "web.yml")}, web.Site{}, web.History{}, discarded())
	if err := s.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() { _ = s.Close(t.Context()) }()
	_, port, err := net.SplitHostPort(s.Addr())
	if err != nil {
		t.Fatal(err)
	}
	ca := fetchAuthority(t, s.Addr())
	shown, err := x509.ParseCertificate(pemBytes(t, ca))
	if err != nil || !strings.Contains(out, "\n    "+webconfig.Fingerprint(shown)+"\n") {
		t.Errorf("the fingerprint to compare is another: %v", err)
	}
	roots := x509.NewCertPool()
	roots.AppendCertsFromPEM(ca)
	phone := &http.Client{Transport: &http.Transport{DisableKeepAlives: true, TLSClientConfig: &tls.Config{RootCAs: roots}}}
	look := func() string {
		t.Helper()
		r, err := phone.Get("https://127.0.0.1:" + port + "/")
		if err != nil {
			t.Fatal(err)
		}
		defer r.Body.Close()
		return r.TLS.PeerCertificates[0].SerialNumber.String()
	}
	first := look()
	if code, out, _ := certify(t, append([]string{"renew", "--due"}, all...)...); code != exitDone || !strings.Contains(out, "nothing was done") || look() != first {
		t.Errorf("renewed early: %d %s", code, out)
	}
	code, out, errs = certify(t, append([]string{"renew"}, all...)...)
	if code != exitDone || !strings.Contains(out, "nests.example, barn.local, 127.0.0.1") || look() == first {
		t.Errorf("renewed: %d %s %s", code, out, errs)
	}
	if code, _, errs := certify(t, append([]string{"renew", "--name", "bank.example"}, all...)...); code != exitWrongUse || !strings.Contains(errs, "may sign nothing for bank.example") {
		t.Errorf("for a name elsewhere: %d %s", code, errs)
	}
	if code, out, _ := certify(t, append([]string{"show"}, all...)...); code != exitDone || !strings.Contains(out, webconfig.Fingerprint(shown)) {
		t.Errorf("shown: %d %s", code, out)
	}

	end := namedFile{"publish.page." + webConfigKey, filepath.Join(dir, "web.yml")}
	if lack := end.lack(time.Now()); lack != "" {
		t.Errorf("now: %s", lack)
	}
	if lack := end.lack(time.Now().AddDate(0, 0, 380)); !strings.Contains(lack, "ends on") || !strings.Contains(lack, "certificate renew") {
		t.Errorf("a fortnight before its end: %s", lack)
	}
}

// fetchAuthority goes past the warning, as a phone does the first time.
func fetchAuthority(t *testing.T, address string) []byte {
	t.Helper()
	blind := &http.Client{Transport: &http.Transport{DisableKeepAlives: true, TLSClientConfig: &tls.Config{InsecureSkipVerify: true}}}
	r, err := blind.Get("https://" + address + "/ca.crt")
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	text, err := io.ReadAll(r.Body)
	if err != nil || r.StatusCode != http.StatusOK || r.Header.Get("Content-Type") != "application/x-x509-ca-cert" {
		t.Fatalf("%s, %v: %v", r.Status, r.Header, err)
	}
	return text
}

// readAll is what stands in all files of a folder.
func readAll(t *testing.T, dir string) string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(dir, "*"))
	if err != nil {
		t.Fatal(err)
	}
	slices.Sort(files)
	var all string
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		all += fmt.Sprintf("%s\n%s\n", file, text)
	}
	return all
}

func TestCertificateIsRefused(t *testing.T) {
	for _, row := range []struct {
		name, page string
		args       []string
		want       string
	}{
		{"no name", "{}", []string{"make"}, "add --name with what phones open"},
		{"a name that is none", "{}", []string{"make", "--name", "a_b"}, "is no name or address of a machine"},
		{"no such action", "{}", []string{"sign"}, "write make, renew or show"},
		{"nothing to show", "{}", []string{"show"}, "sudo nestmon certificate make"},
		{"a folder that is not there", "{}", []string{"make", "--name", "board", "--dir", "/nowhere/at/all"}, "name a folder of yours with --dir"},
	} {
		t.Run(row.name, func(t *testing.T) {
			dir := t.TempDir()
			yaml := filepath.Join(dir, "nestmon.yaml")
			plant(t, yaml, onBoard+"publish: {page: "+row.page+"}\n")
			before := readAll(t, dir)
			if code, out, errs := certify(t, append(row.args, "--config", yaml, "--user", "root")...); code != exitWrongUse || !strings.Contains(errs, row.want) || out != "" || readAll(t, dir) != before {
				t.Errorf("%d %q %q", code, out, errs)
			}
		})
	}
	t.Run("a user that is none", func(t *testing.T) {
		if os.Geteuid() != 0 {
			t.Skip("root alone gives files away")
		}
		dir := t.TempDir()
		yaml := filepath.Join(dir, "nestmon.yaml")
		plant(t, yaml, onBoard)
		before := readAll(t, dir)
		if code, _, errs := certify(t, "make", "--name", "board", "--config", yaml, "--user", "nobody-of-this-name"); code != exitWrongUse || !strings.Contains(errs, "name the daemon's with --user") || readAll(t, dir) != before {
			t.Errorf("%d %s: half of it stays", code, errs)
		}
	})
}

// A web configuration that is there stays, and what to write into it is said.
func TestCertificateLeavesAWebConfigurationAlone(t *testing.T) {
	dir, own := t.TempDir(), t.TempDir()
	yaml, file := filepath.Join(dir, "nestmon.yaml"), filepath.Join(own, "web.yml")
	const users = "basic_auth_users: {barn: '" + pageLine + "'}\n"
	plant(t, file, users)
	plant(t, yaml, onBoard+"publish: {page: {web_config_file: "+file+"}}\n")
	code, out, errs := certify(t, "make", "--name", "127.0.0.1", "--config", yaml, "--user", "root")
	text, err := os.ReadFile(file)
	if err != nil || code != exitDone || string(text) != users {
		t.Fatalf("%d %s %v: %s", code, errs, err, text)
	}
	_, rest, _ := strings.Cut(out, "Write into it:\n\n")
	more, _, _ := strings.Cut(rest, "\n\n")
	plant(t, file, users+more+"\n")
	if err := webconfig.Check(file); err != nil || !webconfig.Secure(file) {
		t.Errorf("what is said does not work: %v in\n%s", err, users+more)
	}
}

func discarded() *slog.Logger { return slog.New(slog.DiscardHandler) }

func pemBytes(t *testing.T, text []byte) []byte {
	t.Helper()
	block, rest := pem.Decode(text)
	if block == nil || len(rest) > 0 {
		t.Fatalf("not one certificate: %s", text)
	}
	return block.Bytes
}
