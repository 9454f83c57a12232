// Package rig is what the long runs have in common: the daemon as a process with what it says, an invented board whose probes are files, the services it
// talks to, pages that look at it, and what the kernel knows of its memory, descriptors, processor and writes.
//
// It measures from outside. Goroutines and heap, which no kernel knows, are what Go's own runtime prints on request (GODEBUG): the program is the one
// that is shipped, and has nothing in it that it would not have in a barn.
package rig
