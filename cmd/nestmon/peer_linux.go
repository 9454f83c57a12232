package main

import (
	"net"
	"os/user"
	"strconv"
	"syscall"
)

// peer names the user at the other end of a unix socket (SO_PEERCRED, unix(7)), empty where it cannot be told.
func peer(c net.Conn) string {
	unix, ok := c.(*net.UnixConn)
	if !ok {
		return ""
	}
	raw, err := unix.SyscallConn()
	if err != nil {
		return ""
	}
	uid := ""
	if err := raw.Control(func(fd uintptr) {
		if cred, err := syscall.GetsockoptUcred(int(fd), syscall.SOL_SOCKET, syscall.SO_PEERCRED); err == nil {
			uid = strconv.FormatUint(uint64(cred.Uid), 10)
		}
	}); err != nil || uid == "" {
		return ""
	}
	if u, err := user.LookupId(uid); err == nil {
		return u.Username
	}
	return "user " + uid
}
