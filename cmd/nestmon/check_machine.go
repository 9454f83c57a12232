package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
)

// lookAround says what this machine lacks for the configuration. It changes nothing.
func (k checker) lookAround(c *config) []string {
	var lacks []string
	uses := func(source string) bool {
		return slices.ContainsFunc(c.Probes, func(p probeConfig) bool { return p.Source == source })
	}
	if uses("w1") {
		lacks = append(lacks, k.lookAtWires(c)...)
	}
	if uses("kernel") {
		lacks = append(lacks, k.lookAtKernel(c)...)
	}
	if err := writable(c.Data); err != nil {
		lacks = append(lacks, fmt.Sprintf("the archive cannot be written: %v; create %s and give it to the user nestmon", err, c.Data))
	}
	return lacks
}

func (k checker) lookAtWires(c *config) []string {
	dir := filepath.Join(k.sys, "bus/w1/devices")
	if _, err := os.Stat(dir); err != nil {
		return []string{fmt.Sprintf("no 1-Wire bus (%s is not there); on a Raspberry Pi add the line dtoverlay=w1-gpio to config.txt of the boot "+
			"partition and restart, elsewhere load w1-gpio and w1-therm", dir)}
	}
	var lacks []string
	for _, p := range c.Probes {
		if p.Source != "w1" {
			continue
		}
		if _, err := os.Stat(filepath.Join(dir, p.ROM)); err != nil {
			lacks = append(lacks, fmt.Sprintf("probe %s: %s is not on the 1-Wire bus; %s", p.ID, p.ROM, oneOf(p.ROM, wiresIn(dir))))
		}
	}
	return lacks
}

// wiresIn lists the thermometers a 1-Wire bus holds.
func wiresIn(dir string) []string {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil
	}
	var roms []string
	for _, e := range entries {
		if romShape.MatchString(e.Name()) {
			roms = append(roms, e.Name())
		}
	}
	return roms
}

func (k checker) lookAtKernel(*config) []string {
	hwmon, iio := filepath.Join(k.sys, "class/hwmon"), filepath.Join(k.sys, "bus/iio/devices")
	if exists(hwmon) || exists(iio) {
		return nil
	}
	return []string{fmt.Sprintf("no kernel sensors (neither %s nor %s is there); load the chip's driver, such as sht3x, "+
		"and announce it by a device tree overlay", hwmon, iio)}
}

func exists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

// writable tries a file in dir or, when dir is yet to be made, in the nearest folder above it.
func writable(dir string) error {
	for {
		info, err := os.Stat(dir)
		if errors.Is(err, fs.ErrNotExist) && dir != filepath.Dir(dir) {
			dir = filepath.Dir(dir)
			continue
		}
		if err != nil {
			return err
		}
		if !info.IsDir() {
			return fmt.Errorf("%s is not a folder", dir)
		}
		break
	}
	f, err := os.CreateTemp(dir, ".nestmon-check-*")
	if err != nil {
		return err
	}
	return errors.Join(f.Close(), os.Remove(f.Name()))
}
