package backup

import (
	"archive/tar"
	"compress/gzip"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"nestmon/exporter/archive"
)

// Job is what is to be put into a backup.
type Job struct {
	Data    string // the archive's folder
	To      string // the file to write
	Force   bool   // to replace one of that name
	Version string
	Site    string
	Now     func() time.Time
	Also    []Extra
}

// Extra is a file beside the archive.
type Extra struct {
	Name      string // in the backup
	From      string
	Key, Path string // of a secret, see Member
}

// Write makes a backup and proves it, and returns what is in it. It needs room for two copies of the archive beside the file for a while.
func Write(ctx context.Context, j Job) (_ Manifest, err error) {
	if !j.Force {
		if _, err := os.Lstat(j.To); err == nil {
			return Manifest{}, fmt.Errorf("%s is there already; name another file, or replace it with --force", j.To)
		}
	}
	work, err := os.MkdirTemp(filepath.Dir(j.To), ".nestmon-backup-*")
	if err != nil {
		return Manifest{}, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(work)) }()
	copies, packed, back := filepath.Join(work, "copies"), filepath.Join(work, "packed"), filepath.Join(work, "back")
	m, err := j.collect(ctx, copies)
	if err != nil {
		return m, err
	}
	if err := pack(ctx, m, copies, packed); err != nil {
		return m, fmt.Errorf("writing %s: %w", j.To, err)
	}
	if err := os.RemoveAll(copies); err != nil {
		return m, err
	}
	if _, err := unpack(ctx, packed, back); err != nil {
		return m, fmt.Errorf("reading it back: %w", err)
	}
	if err := os.Rename(packed, j.To); err != nil {
		return m, err
	}
	return m, syncFolder(filepath.Dir(j.To))
}

// collect puts copies of all that is to be packed into a folder, and writes the manifest of them.
func (j Job) collect(ctx context.Context, into string) (m Manifest, err error) {
	m = Manifest{Format: format, Version: j.Version, Site: j.Site, Time: j.Now().UTC().Truncate(time.Second)}
	if err := os.MkdirAll(filepath.Join(into, SecretsName), 0o700); err != nil {
		return m, err
	}
	if err := archive.Copy(j.Data, into); err != nil {
		return m, err
	}
	if m.Contents, err = archive.Look(into); err != nil {
		return m, fmt.Errorf("%w; the archive itself may be damaged: restart the daemon, which sets a damaged file aside, and try again", err)
	}
	for _, name := range []string{"book.db", "readings.db", "state"} {
		m.Files = append(m.Files, Member{Name: name})
	}
	for _, e := range j.Also {
		if err := copyFile(e.From, filepath.Join(into, e.Name)); err != nil {
			return m, err
		}
		m.Files = append(m.Files, Member{Name: e.Name, Key: e.Key, Path: e.Path})
	}
	kept := m.Files[:0]
	for _, f := range m.Files {
		if err := ctx.Err(); err != nil {
			return m, err
		}
		s, err := sumOf(filepath.Join(into, f.Name))
		if f.Name == "state" && errors.Is(err, fs.ErrNotExist) {
			continue // before the first quarter of an hour
		}
		if err != nil {
			return m, err
		}
		f.Size, f.SHA256 = s.size, s.text()
		kept = append(kept, f)
	}
	m.Files = kept
	return m, nil
}

// pack writes the backup and has it on the disk before it returns.
func pack(ctx context.Context, m Manifest, from, to string) (err error) {
	f, err := os.OpenFile(to, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	zip := gzip.NewWriter(archive.Gently(f))
	out := tar.NewWriter(zip)
	text, err := json.MarshalIndent(m, "", "  ")
	if err != nil {
		return err
	}
	head := tar.Header{Typeflag: tar.TypeReg, Mode: 0o600, ModTime: m.Time, Name: manifestName, Size: int64(len(text))}
	if err := out.WriteHeader(&head); err != nil {
		return err
	}
	if _, err := out.Write(text); err != nil {
		return err
	}
	for _, member := range m.Files {
		head.Name, head.Size = member.Name, member.Size
		if err := out.WriteHeader(&head); err != nil {
			return err
		}
		if err := feed(ctx, out, filepath.Join(from, member.Name)); err != nil {
			return err
		}
	}
	return errors.Join(out.Close(), zip.Close(), f.Sync())
}

func feed(ctx context.Context, to io.Writer, path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	_, err = io.Copy(to, until{ctx, f})
	return errors.Join(err, f.Close())
}

// until is a reader that ends when ctx does.
type until struct {
	ctx context.Context
	io.Reader
}

func (u until) Read(p []byte) (int, error) {
	if err := u.ctx.Err(); err != nil {
		return 0, err
	}
	return u.Reader.Read(p)
}

func sumOf(path string) (*sum, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	s := newSum()
	_, err = io.Copy(s, f)
	return s, errors.Join(err, f.Close())
}

func copyFile(from, to string) error {
	out, err := os.OpenFile(to, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	return errors.Join(feed(context.Background(), out, from), out.Sync(), out.Close())
}

func syncFolder(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
