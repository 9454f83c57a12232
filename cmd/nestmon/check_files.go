package main

import (
	"cmp"
	"crypto/x509"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"time"

	"nestmon/exporter/influx"
	"nestmon/exporter/webconfig"
)

// A key that ends in fileKey names a file that the daemon reads when it starts, and does not start without. All are secrets but
// the certificates; those under webConfigKey hold more than one line.
const (
	fileKey      = "_file"
	webConfigKey = "web_config_file"
)

// certificateKeys are the keys of certificates, with what is to be copied there.
var certificateKeys = map[string]string{
	"ca_file":   "copy the certificate that signed the server's there",
	"cert_file": "copy the certificate there that was signed for this machine",
}

// privateKey is the key of a file that nobody writes by hand.
const privateKey = "key_file"

// namedFile is a file that the configuration names.
type namedFile struct{ key, path string }

// filesOf lists the files named in v, which lies at path.
func filesOf(v reflect.Value, path string) []namedFile {
	var all []namedFile
	switch v.Kind() {
	case reflect.Pointer:
		if !v.IsNil() {
			all = filesOf(v.Elem(), path)
		}
	case reflect.Slice:
		for i := range v.Len() {
			all = append(all, filesOf(v.Index(i), fmt.Sprintf("%s[%d]", path, i))...)
		}
	case reflect.Struct:
		for _, f := range fieldsOf(v) {
			at := join(path, f.key)
			if f.value.Kind() == reflect.String && strings.HasSuffix(f.key, fileKey) && f.value.String() != "" {
				all = append(all, namedFile{at, f.value.String()})
				continue
			}
			all = append(all, filesOf(f.value, at)...)
		}
	}
	return all
}

// lookAtFiles says which files of the configuration are not there or not fit for use, and what to do about it. It never quotes them.
func lookAtFiles(c *config, now time.Time) []string {
	var lacks []string
	for _, f := range filesOf(reflect.ValueOf(c).Elem(), "") {
		if lack := f.lack(now); lack != "" {
			lacks = append(lacks, f.key+": "+lack)
		}
	}
	if len(lacks) > 0 {
		return lacks
	}
	return lookIntoFiles(c, now)
}

// lookIntoFiles asks the sinks what must stand in files that can be read.
func lookIntoFiles(c *config, now time.Time) (lacks []string) {
	if m := c.Publish.MQTT; m != nil {
		m.Files().Check(now, func(path, problem string) { lacks = append(lacks, "publish.mqtt."+path+": "+problem) })
	}
	if r := c.Radio; r != nil {
		r.Files().Check(now, func(path, problem string) { lacks = append(lacks, "radio."+path+": "+problem) })
	}
	if i := c.Publish.InfluxDB; i != nil {
		if sink, err := influx.New(*i, c.Site.ID, nil); err != nil {
			lacks = append(lacks, err.Error())
		} else {
			sink.Close()
		}
	}
	if p := c.Publish.Page; p != nil {
		if err := p.CheckPassword(); err != nil {
			lacks = append(lacks, "publish.page.password_file: "+err.Error())
		}
	}
	if c.Phone != nil {
		for _, channel := range c.Phone.Channels {
			if channel.Push != nil {
				continue // nothing of it is in a file
			}
			if _, err := (outlet{}).openChannel(channel); err != nil {
				lacks = append(lacks, err.Error())
			}
		}
		if h := c.Phone.Heartbeat; h != nil {
			if err := h.Check(); err != nil {
				lacks = append(lacks, err.Error())
			}
		}
	}
	return lacks
}

// lack says what is wrong with one file, or nothing.
func (f namedFile) lack(now time.Time) string {
	if strings.HasSuffix(f.key, webConfigKey) {
		if err := cmp.Or(webconfig.Check(f.path), webconfig.Ending(f.path, now)); err != nil {
			return err.Error()
		}
		return f.open()
	}
	last := f.key[strings.LastIndex(f.key, ".")+1:]
	remedy, certificate := certificateKeys[last]
	text, err := os.ReadFile(f.path)
	switch {
	case errors.Is(err, fs.ErrNotExist) && !certificate && !filepath.IsAbs(f.path): // never quoted: it may be the secret itself
		return "there is no such file; name one with its whole path, and write the secret into it"
	case errors.Is(err, fs.ErrNotExist) && certificate:
		return fmt.Sprintf("there is no file %s; %s", f.path, remedy)
	case errors.Is(err, fs.ErrNotExist) && last == privateKey:
		return fmt.Sprintf("there is no file %s; copy the private key of cert_file there: sudo install -m 600 -o nestmon KEY %s", f.path, f.path)
	case errors.Is(err, fs.ErrNotExist):
		return fmt.Sprintf("there is no file %s; make it with: sudo install -m 600 -o nestmon /dev/null %s, then write the one line into it", f.path, f.path)
	case errors.Is(err, fs.ErrPermission):
		return fmt.Sprintf("this user may not read %s; give it to the daemon's user: sudo chown nestmon %s", f.path, f.path)
	case err != nil:
		return err.Error() + "; name a file that can be read"
	case certificate && !x509.NewCertPool().AppendCertsFromPEM(text):
		return f.path + " holds no PEM certificate; " + remedy
	case certificate:
		return ""
	case strings.TrimSpace(string(text)) == "":
		return f.path + " is empty; write the one line into it"
	case last != privateKey && strings.Contains(strings.TrimRight(string(text), "\r\n"), "\n"):
		return f.path + " holds more than one line; write the one line alone into it"
	}
	return f.open()
}

// open says when every user of this machine can reach the file.
func (f namedFile) open() string {
	info, err := os.Stat(f.path)
	switch {
	case err != nil:
		return err.Error()
	case info.Mode().Perm()&0o007 != 0:
		return fmt.Sprintf("every user of this machine can reach the secret in %s; take that away: sudo chmod 600 %s", f.path, f.path)
	}
	return ""
}
