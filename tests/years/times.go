package main

import (
	"fmt"
	"maps"
	"slices"
	"time"
)

// times are how long one command took, each time.
type times []time.Duration

// byWord are the times of each command.
type byWord map[string]*times

func (b byWord) of(word string) *times {
	if b[word] == nil {
		b[word] = new(times)
	}
	return b[word]
}

func (b byWord) words() []string { return slices.Sorted(maps.Keys(b)) }

func (b byWord) all() *times {
	var all times
	for _, t := range b {
		all = append(all, *t...)
	}
	return &all
}

// print prints how many there were, and the middle and the end of their lengths.
func (t *times) print(what string) {
	if len(*t) == 0 {
		return
	}
	slices.Sort(*t)
	at := func(share float64) float64 { return (*t)[int(share*float64(len(*t)-1))].Seconds() * 1000 }
	fmt.Printf("%-45s %5d  median %6.1f  p95 %6.1f  p99 %6.1f  max %6.1f ms\n", what, len(*t), at(0.5), at(0.95), at(0.99), at(1))
}
