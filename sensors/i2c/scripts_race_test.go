//go:build race

package i2c

const scripts = 1_000 // one goroutine plays them: the race detector has little to find, and takes ten times as long
