package kernel

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"nestmon/sensors"
)

// class is one of the kernel's two ways of showing a sensor.
type class struct {
	dir    string // below the root, a folder of links to devices
	prefix string // of its entries
	files  map[sensors.Quantity]string
}

var classes = [...]class{
	{"sys/class/hwmon", "hwmon", map[sensors.Quantity]string{
		sensors.Temperature: "temp1_input", sensors.Humidity: "humidity1_input",
	}},
	{"sys/bus/iio/devices", "iio:device", map[sensors.Quantity]string{
		sensors.Temperature: "in_temp_input", sensors.Humidity: "in_humidityrelative_input",
	}},
}

// device is one entry of a class.
type device struct {
	class *class
	dir   string // the entry itself, with its passing number
	name  string // of the driver
}

func (d device) file(q sensors.Quantity) string { return filepath.Join(d.dir, d.class.files[q]) }

// shows lists the quantities the device has files for.
func (d device) shows() []sensors.Quantity {
	var qs []sensors.Quantity
	for _, q := range sensors.Quantities {
		if d.class.files[q] == "" {
			continue
		}
		if _, err := os.Stat(d.file(q)); err == nil {
			qs = append(qs, q)
		}
	}
	return qs
}

// entries lists the devices of a class that stand in dir.
func (c *class) entries(dir string) (found []device) {
	list, err := os.ReadDir(dir)
	if err != nil {
		return nil // no such class, or no such device: nothing stands there
	}
	for _, e := range list {
		if !strings.HasPrefix(e.Name(), c.prefix) {
			continue
		}
		d := device{class: c, dir: filepath.Join(dir, e.Name())}
		if name, err := os.ReadFile(filepath.Join(d.dir, "name")); err == nil {
			d.name = strings.TrimSpace(string(name))
		}
		found = append(found, d)
	}
	return found
}

// errAmbiguous says that a name fits several devices.
var errAmbiguous = errors.New("name fits several devices")

// find looks the configured device up.
func (s *Source) find(c ProbeConfig) (device, error) {
	if c.byPath() {
		return s.findPath(c.Device)
	}
	var fits []device
	for i := range classes {
		for _, d := range classes[i].entries(filepath.Join(s.root, classes[i].dir)) {
			if d.name == c.Device {
				fits = append(fits, d)
			}
		}
	}
	switch len(fits) {
	case 1:
		return fits[0], nil
	case 0:
		return device{}, fmt.Errorf("no driver is named %q: %w; write one of: %s", c.Device, fs.ErrNotExist, s.names())
	}
	paths := make([]string, 0, len(fits))
	for _, d := range fits {
		paths = append(paths, s.stable(d))
	}
	slices.Sort(paths)
	return device{}, fmt.Errorf("%q: %w; write the path of one of: %s", c.Device, errAmbiguous, strings.Join(paths, ", "))
}

// findPath takes what stands below the device: hwmon in a folder of that name, IIO directly.
func (s *Source) findPath(path string) (device, error) {
	base := filepath.Join(s.root, path)
	if _, err := os.Stat(base); err != nil {
		return device{}, fmt.Errorf("device %s: %w; check wiring and address, and that its driver is loaded", path, fs.ErrNotExist)
	}
	hwmon, iio := &classes[0], &classes[1]
	fits := append(hwmon.entries(filepath.Join(base, "hwmon")), iio.entries(base)...)
	fits = slices.DeleteFunc(fits, func(d device) bool { return len(d.shows()) == 0 })
	switch len(fits) {
	case 1:
		return fits[0], nil
	case 0:
		return device{}, fmt.Errorf("device %s: no temperature or humidity below it: %w; check that its driver is loaded", path, fs.ErrNotExist)
	}
	return device{}, fmt.Errorf("device %s: %w; write the driver's name", path, errAmbiguous)
}

// stable is the path a person may write for a device: of the chip, not of its passing number.
func (s *Source) stable(d device) string {
	parent := filepath.Join(d.dir, "device") // of a hwmon entry, the chip
	if d.class.prefix != "hwmon" {           // of an IIO entry the chip is the folder it really stands in
		parent = d.dir
	}
	chip, err := filepath.EvalSymlinks(parent)
	if err != nil {
		return "/" + strings.TrimPrefix(strings.TrimPrefix(d.dir, filepath.Clean(s.root)), "/")
	}
	if d.class.prefix != "hwmon" {
		chip = filepath.Dir(chip)
	}
	root, err := filepath.EvalSymlinks(s.root)
	if err != nil {
		return chip
	}
	return "/" + strings.TrimPrefix(strings.TrimPrefix(chip, root), "/")
}

// names lists the drivers that show a temperature or humidity, for messages.
func (s *Source) names() string {
	var names []string
	for i := range classes {
		for _, d := range classes[i].entries(filepath.Join(s.root, classes[i].dir)) {
			if d.name != "" && len(d.shows()) > 0 {
				names = append(names, d.name)
			}
		}
	}
	slices.Sort(names)
	if names = slices.Compact(names); len(names) == 0 {
		return "(none is there; load a driver first)"
	}
	return strings.Join(names, ", ")
}
