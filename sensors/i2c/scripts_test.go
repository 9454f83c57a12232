//go:build !race

package i2c

const scripts = 10_000
