//go:build !linux

package main

import "net"

func peer(net.Conn) string { return "" }
