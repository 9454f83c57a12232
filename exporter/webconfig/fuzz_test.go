package webconfig_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nestmon/exporter/webconfig"
)

// FuzzFile: whatever stands in the file, it can be used or is refused with a reason that quotes no hash, and a file that is refused is not called good
// by the other questions.
func FuzzFile(f *testing.F) {
	for _, text := range []string{
		"", "{}", "basic_auth_users:\n  keeper: '" + hash + "'\n", "basic_auth_users:\n  keeper: " + password + "\n", "tls_server_config:\n  cert_file: a.pem\n  key_file: a.key\n",
		"tls_server_config: {cert: '-----BEGIN CERTIFICATE-----', key: x}\n", "tls_server_config: {client_ca_file: a.pem, client_auth_type: RequireAndVerifyClientCert}\n", "http_server_config: {headers: {X-Frame-Options: deny}}\n",
		"rate_limit: {interval: 1s, burst: 1}\n", "basic_auth_users: [", "&a [*a]", "a: &a {<<: *a}", "\x00", "? {}", "basic_auth_users: {a: &x '" + hash + "', b: *x}\n",
	} {
		f.Add([]byte(text))
	}
	file := filepath.Join(f.TempDir(), "web.yml")
	now := time.Date(2031, 4, 2, 6, 30, 0, 0, time.UTC)
	f.Fuzz(func(t *testing.T, text []byte) {
		if err := os.WriteFile(file, text, 0o600); err != nil {
			t.Fatal(err)
		}
		err := webconfig.Check(file)
		if err != nil && (strings.Contains(err.Error(), hash[8:]) || strings.Contains(err.Error(), password)) {
			t.Errorf("%q: a secret shows: %v", text, err)
		}
		if current := webconfig.Current(file, now); err != nil && current == nil {
			t.Errorf("%q is refused (%v) and good now", text, err)
		}
		_ = webconfig.Secure(file)
		_ = webconfig.Ending(file, now)
		_, _ = webconfig.Authority(file)
	})
}
