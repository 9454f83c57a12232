package main

import (
	"cmp"
	"io/fs"
	"os"
	"os/user"
	"slices"
	"strconv"
	"syscall"
)

// accountOf looks up the groups and the name of a user. One that the system does not list has none.
func accountOf(uid uint32) account {
	u := account{uid: uid, known: true, name: strconv.Itoa(int(uid))}
	listed, err := user.LookupId(u.name)
	if err != nil {
		return u
	}
	u.name = cmp.Or(listed.Username, u.name)
	groups, err := listed.GroupIds()
	if err != nil {
		return u
	}
	for _, g := range groups {
		if n, err := strconv.ParseUint(g, 10, 32); err == nil {
			u.gids = append(u.gids, uint32(n))
		}
	}
	return u
}

// hostOf is the user as whom the daemon runs: who owns its socket or, where none was made yet, the folder of its archive.
func hostOf(c *config) account {
	for _, path := range []string{c.Control, c.Data} {
		if info, err := os.Stat(path); err == nil {
			if owner, ok := ownerOf(info); ok {
				return accountOf(owner)
			}
		}
	}
	return account{}
}

func ownerOf(info fs.FileInfo) (uid uint32, ok bool) {
	st, ok := info.Sys().(*syscall.Stat_t)
	if !ok {
		return 0, false
	}
	return st.Uid, true
}

// may reports whether a user has all of the rights want (4 to read, 2 to write, 1 to enter) by the bits of a file's mode. Access lists beyond
// them are not looked at.
func (u account) may(info fs.FileInfo, want fs.FileMode) bool {
	st, ok := info.Sys().(*syscall.Stat_t)
	if !ok {
		return false
	}
	mode := info.Mode().Perm()
	switch {
	case u.uid == 0:
		return true
	case st.Uid == u.uid:
		mode >>= 6
	case u.in(st.Gid):
		mode >>= 3
	}
	return mode&want == want
}

func (u account) in(gid uint32) bool { return slices.Contains(u.gids, gid) }
