package backup

import (
	"archive/tar"
	"compress/flate"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"nestmon/exporter/archive"
)

// Check reads a whole backup and returns its manifest. Nothing is written.
func Check(ctx context.Context, file string) (Manifest, error) {
	m, err := read(ctx, file, func(Member) (io.WriteCloser, error) { return nothing{io.Discard}, nil })
	if err != nil {
		return m, fmt.Errorf("%s cannot be restored: %w", file, err)
	}
	return m, nil
}

type nothing struct{ io.Writer }

func (nothing) Close() error { return nil }

// unpack writes the members of a backup into a new folder, each on the disk before it returns, and proves them.
func unpack(ctx context.Context, file, into string) (archive.Contents, error) {
	for _, dir := range []string{into, filepath.Join(into, SecretsName)} {
		if err := os.Mkdir(dir, 0o700); err != nil {
			return archive.Contents{}, err
		}
	}
	m, err := read(ctx, file, func(member Member) (io.WriteCloser, error) {
		f, err := os.OpenFile(filepath.Join(into, member.Name), os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
		return synced{archive.Gently(f), f}, err
	})
	if err != nil {
		return archive.Contents{}, err
	}
	c, err := archive.Look(into)
	if err != nil {
		return c, err
	}
	if err := m.same(c); err != nil {
		return c, err
	}
	_ = os.Remove(filepath.Join(into, SecretsName)) // where there are none
	return c, syncFolder(into)
}

// synced is a file that is on the disk when it is closed.
type synced struct {
	io.Writer
	file *os.File
}

func (s synced) Close() error { return errors.Join(s.file.Sync(), s.file.Close()) }

var errEnds = errors.New("it ends too early; copy it again, or take another backup")

// read goes through a backup from its first byte to its last and hands the content of each member to what open returns. Nothing is handed
// out before the manifest has been judged, and never more of a member than the manifest says.
func read(ctx context.Context, file string, open func(Member) (io.WriteCloser, error)) (m Manifest, err error) {
	f, err := os.Open(file)
	if err != nil {
		return m, err
	}
	defer func() { _ = f.Close() }() // only read
	zip, err := gzip.NewReader(until{ctx, f})
	if err != nil {
		return m, fmt.Errorf("it is no backup of nestmon: %w", spoilt(err))
	}
	in := tar.NewReader(zip)
	head, err := in.Next()
	if err != nil {
		return m, fmt.Errorf("it is no backup of nestmon: %w", spoilt(err))
	}
	if head.Name != manifestName || head.Typeflag != tar.TypeReg || head.Size > largestManifest {
		return m, fmt.Errorf("it does not begin with %s; name a file that 'nestmon backup' wrote", manifestName)
	}
	text, err := io.ReadAll(in)
	if err != nil {
		return m, spoilt(err)
	}
	if m, err = readManifest(text); err != nil {
		return m, err
	}
	for _, member := range m.Files {
		if head, err = in.Next(); err != nil {
			return m, fmt.Errorf("%s: %w", member.Name, spoilt(err))
		}
		switch {
		case head.Name != member.Name || head.Typeflag != tar.TypeReg:
			return m, fmt.Errorf("it holds %q where the manifest has %s; take a backup that nestmon wrote", head.Name, member.Name)
		case head.Size != member.Size:
			return m, fmt.Errorf("%s: it holds %d bytes, the manifest says %d; take another backup", member.Name, head.Size, member.Size)
		}
		if err := extract(in, member, open); err != nil {
			return m, fmt.Errorf("%s: %w", member.Name, err)
		}
	}
	if head, err = in.Next(); err == nil {
		return m, fmt.Errorf("it holds %q, which the manifest does not name; take a backup that nestmon wrote", head.Name)
	}
	if !errors.Is(err, io.EOF) {
		return m, spoilt(err)
	}
	if n, err := io.Copy(io.Discard, zip); err != nil { // gzip's own sum is at the very end
		return m, spoilt(err)
	} else if n > 0 {
		return m, errors.New("something follows its end; take a backup that nestmon wrote")
	}
	return m, nil
}

func extract(in io.Reader, member Member, open func(Member) (io.WriteCloser, error)) error {
	out, err := open(member)
	if err != nil {
		return err
	}
	s := newSum()
	_, err = io.Copy(io.MultiWriter(out, s), io.LimitReader(in, member.Size))
	if err = errors.Join(err, out.Close()); err != nil {
		return spoilt(err)
	}
	if s.size != member.Size || s.text() != member.SHA256 {
		return errors.New("it is not what was packed (another SHA-256 sum); copy the backup again, or take another")
	}
	return nil
}

// spoilt says of a file that ended or broke what to do about it.
func spoilt(err error) error {
	_, torn := errors.AsType[flate.CorruptInputError](err)
	switch {
	case errors.Is(err, io.ErrUnexpectedEOF), errors.Is(err, io.EOF):
		return errEnds
	case torn, errors.Is(err, gzip.ErrChecksum), errors.Is(err, gzip.ErrHeader), errors.Is(err, tar.ErrHeader):
		return fmt.Errorf("it is damaged (%w); copy it again, or take another backup", err)
	}
	return err
}
