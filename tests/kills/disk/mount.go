package disk

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"syscall"
	"time"

	"github.com/hanwen/go-fuse/v2/fs"
	"github.com/hanwen/go-fuse/v2/fuse"
)

// Mount shows the disk as the folder dir until the returned function is called. It needs /dev/fuse and the right to mount.
func (d *Disk) Mount(dir string) (unmount func() error, err error) {
	none := time.Duration(0) // names and sizes are asked for anew
	_, err = fs.Mount(dir, &folder{disk: d}, &fs.Options{
		EntryTimeout: &none, AttrTimeout: &none,
		MountOptions: fuse.MountOptions{DirectMountStrict: true, FsName: "nestmon-kills", Name: "nestmon-kills"},
	})
	if err != nil {
		return nil, fmt.Errorf("mounting a disk that forgets: %w; load the kernel's module fuse and run this as root", err)
	}
	// The library's own Unmount also waits for the kernel to let go, which it does not while somebody else's namespace holds a copy of the mount.
	return func() error { return syscall.Unmount(dir, syscall.MNT_DETACH) }, nil
}

func errno(err error) syscall.Errno {
	var no syscall.Errno
	switch {
	case err == nil:
		return 0
	case errors.As(err, &no):
		return no
	}
	return syscall.EIO
}

// The modes of all there is.
const (
	folderMode = syscall.S_IFDIR | 0o755
	fileMode   = syscall.S_IFREG | 0o640
)

type folder struct {
	fs.Inode
	disk *Disk
}

type leaf struct {
	fs.Inode
	disk *Disk
	file *file
}

func (n *folder) leaf(ctx context.Context, f *file, out *fuse.EntryOut) *fs.Inode {
	out.Attr.Mode, out.Attr.Size = fileMode, uint64(len(f.data))
	return n.NewInode(ctx, &leaf{disk: n.disk, file: f}, fs.StableAttr{Mode: syscall.S_IFREG, Ino: uint64(f.number) + 2})
}

func (n *folder) Lookup(ctx context.Context, name string, out *fuse.EntryOut) (*fs.Inode, syscall.Errno) {
	n.disk.mu.Lock()
	defer n.disk.mu.Unlock()
	f := n.disk.now[name]
	if f == nil {
		return nil, syscall.ENOENT
	}
	return n.leaf(ctx, f, out), 0
}

func (n *folder) Create(ctx context.Context, name string, _, _ uint32, out *fuse.EntryOut) (*fs.Inode, fs.FileHandle, uint32, syscall.Errno) {
	if err := n.disk.Do(Op{Kind: Create, Name: name}); err != nil {
		return nil, nil, 0, errno(err)
	}
	n.disk.mu.Lock()
	defer n.disk.mu.Unlock()
	return n.leaf(ctx, n.disk.now[name], out), nil, 0, 0
}

func (n *folder) Unlink(_ context.Context, name string) syscall.Errno {
	return errno(n.disk.Do(Op{Kind: Remove, Name: name}))
}

func (n *folder) Rename(_ context.Context, name string, _ fs.InodeEmbedder, to string, flags uint32) syscall.Errno {
	if flags != 0 {
		return syscall.EINVAL
	}
	return errno(n.disk.Do(Op{Kind: Rename, Name: name, To: to}))
}

func (n *folder) Fsync(context.Context, fs.FileHandle, uint32) syscall.Errno {
	return errno(n.disk.Do(Op{Kind: SyncDir}))
}

func (n *folder) Readdir(context.Context) (fs.DirStream, syscall.Errno) {
	n.disk.mu.Lock()
	defer n.disk.mu.Unlock()
	var all []fuse.DirEntry
	for _, name := range slices.Sorted(maps.Keys(n.disk.now)) {
		all = append(all, fuse.DirEntry{Name: name, Mode: syscall.S_IFREG, Ino: uint64(n.disk.now[name].number) + 2})
	}
	return fs.NewListDirStream(all), 0
}

func (n *folder) Getattr(_ context.Context, _ fs.FileHandle, out *fuse.AttrOut) syscall.Errno {
	out.Mode, out.Nlink = folderMode, 2
	return 0
}

// Room for all, in blocks of a kilobyte.
const blocks = 1 << 20

func (n *folder) Statfs(_ context.Context, out *fuse.StatfsOut) syscall.Errno {
	out.Bsize, out.Blocks, out.Bfree, out.Bavail, out.NameLen = 1024, blocks, blocks, blocks, 255
	return 0
}

func (n *leaf) Open(context.Context, uint32) (fs.FileHandle, uint32, syscall.Errno) {
	return nil, fuse.FOPEN_KEEP_CACHE, 0
}

func (n *leaf) Read(_ context.Context, _ fs.FileHandle, into []byte, at int64) (fuse.ReadResult, syscall.Errno) {
	n.disk.mu.Lock()
	defer n.disk.mu.Unlock()
	if at >= int64(len(n.file.data)) {
		return fuse.ReadResultData(nil), 0
	}
	return fuse.ReadResultData(into[:copy(into, n.file.data[at:])]), 0
}

func (n *leaf) Write(_ context.Context, _ fs.FileHandle, b []byte, at int64) (uint32, syscall.Errno) {
	if err := n.disk.Do(Op{Kind: Write, File: n.file.number, At: at, Data: b}); err != nil {
		return 0, errno(err)
	}
	return uint32(len(b)), 0
}

func (n *leaf) Fsync(context.Context, fs.FileHandle, uint32) syscall.Errno {
	return errno(n.disk.Do(Op{Kind: Sync, File: n.file.number}))
}

func (n *leaf) Flush(context.Context, fs.FileHandle) syscall.Errno { return 0 }

func (n *leaf) Getattr(_ context.Context, _ fs.FileHandle, out *fuse.AttrOut) syscall.Errno {
	n.disk.mu.Lock()
	defer n.disk.mu.Unlock()
	out.Mode, out.Size, out.Nlink = fileMode, uint64(len(n.file.data)), 1
	return 0
}

func (n *leaf) Setattr(ctx context.Context, f fs.FileHandle, in *fuse.SetAttrIn, out *fuse.AttrOut) syscall.Errno {
	if size, ok := in.GetSize(); ok {
		if err := n.disk.Do(Op{Kind: Truncate, File: n.file.number, At: int64(size)}); err != nil {
			return errno(err)
		}
	}
	return n.Getattr(ctx, f, out)
}
