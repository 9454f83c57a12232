//go:build !race

package services_test

const racing = false
