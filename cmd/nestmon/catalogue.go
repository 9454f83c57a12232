package main

import (
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/influx"
	"nestmon/exporter/metrics"
	"nestmon/exporter/mqtt"
	"nestmon/exporter/phone"
	"nestmon/exporter/phone/mail"
	"nestmon/exporter/phone/push"
	"nestmon/exporter/web"
	"nestmon/exporter/webconfig"
	"nestmon/sensors"
	"nestmon/sensors/i2c"
	"nestmon/sensors/kernel"
	"nestmon/sensors/onewire"
	"nestmon/sensors/radio"
	"nestmon/sensors/recorded"
	"nestmon/sensors/w1"
)

// sourceKind is one kind of probe a configuration may name.
type sourceKind struct {
	name       string             // as in `source:`, and its folder in sensors
	keys       []string           // keys of a probe that mean something here, beside those of every probe
	quantities []sensors.Quantity // what its probes deliver unless said otherwise
	// open makes the bus of these probes below root; nil for a kind that no board has.
	open func(root string, c *config, bus string, probes []probeConfig, log *slog.Logger) (board, error)
	wire func(root string, p probeConfig) string // names what a probe hangs on
	// validate reports what is wrong with one probe's keys.
	validate func(p probeConfig, report func(path, problem string))
	finder   finder // how its buses are searched, for `nestmon probes`
}

// board is a source on a board, which can say what the board lacks.
type board interface {
	sensors.Source
	Check() []string
}

// sourceKinds has one line for each folder of sensors that holds a source.
var sourceKinds = []sourceKind{
	{"w1", []string{"rom", "clone", "chip"}, []sensors.Quantity{sensors.Temperature}, openW1, wireW1, validateW1, finder{findW1, romOf, false}},
	{"onewire", []string{"bus", "rom", "clone"}, []sensors.Quantity{sensors.Temperature}, openOneWire, wireOneWire, validateOneWire, finder{findOneWire, romOf, true}},
	{"kernel", []string{"device", "chip", "quantities"}, []sensors.Quantity{sensors.Temperature, sensors.Humidity}, openKernel, wireKernel, validateKernel, finder{findKernel, deviceOf, false}},
	{"i2c", []string{"chip", "bus", "address", "mux", "channel", "shunt_ohm"}, []sensors.Quantity{sensors.Temperature, sensors.Humidity}, openI2C, wireI2C, validateI2C, finder{findI2C, chipOf, true}},
	{"radio", []string{"topic", "pointers", "time", "unit", "chip", "quantities"}, []sensors.Quantity{sensors.Temperature}, openRadio, wireRadio, validateRadio, finder{}},
	{"recorded", []string{"chip", "quantities"}, sensors.Quantities[:], nil, nil, validateRecorded, finder{}},
	{"simulated", []string{"chip", "quantities"}, []sensors.Quantity{sensors.Temperature, sensors.Humidity}, nil, nil, validateRecorded, finder{}},
}

func openW1(root string, c *config, bus string, probes []probeConfig, log *slog.Logger) (board, error) {
	entries := make([]w1.ProbeConfig, len(probes))
	for i, p := range probes {
		entries[i] = p.w1()
	}
	s, err := w1.New(root, entries, c.Poll, log)
	if err != nil {
		return nil, err
	}
	s.Wire = bus
	return s, nil
}

func openOneWire(root string, c *config, bus string, probes []probeConfig, log *slog.Logger) (board, error) {
	entries := make([]onewire.ProbeConfig, len(probes))
	for i, p := range probes {
		entries[i] = p.oneWire()
	}
	s, err := onewire.New(root, entries, c.Poll, log)
	if err != nil {
		return nil, err
	}
	s.Wire = bus
	return s, nil
}

func openKernel(root string, c *config, bus string, probes []probeConfig, log *slog.Logger) (board, error) {
	entries := make([]kernel.ProbeConfig, len(probes))
	for i, p := range probes {
		entries[i] = p.kernel()
	}
	s, err := kernel.New(root, entries, c.Poll, log)
	if err != nil {
		return nil, err
	}
	s.Wire = bus
	return s, nil
}

func openI2C(root string, c *config, bus string, probes []probeConfig, log *slog.Logger) (board, error) {
	entries := make([]i2c.ProbeConfig, len(probes))
	for i, p := range probes {
		entries[i] = p.i2c()
	}
	s, err := i2c.New(root, entries, c.Poll, log)
	if err != nil {
		return nil, err
	}
	s.Wire = bus
	return s, nil
}

func openRadio(_ string, c *config, _ string, probes []probeConfig, log *slog.Logger) (board, error) {
	if c.Radio == nil {
		return nil, errors.New("radio: the section is missing; write radio: {broker: tcp://localhost:1883}")
	}
	entries := make([]radio.ProbeConfig, len(probes))
	for i, p := range probes {
		entries[i] = p.radio()
	}
	return radio.New(*c.Radio, c.Site.ID, entries, c.Poll, log)
}

func wireRadio(string, probeConfig) string { return radio.Kind }

func wireW1(root string, p probeConfig) string   { return w1.Wire(root, p.ROM) }
func wireKernel(_ string, p probeConfig) string  { return kernel.Wire(p.Device) }
func wireI2C(_ string, p probeConfig) string     { return p.Bus }
func wireOneWire(_ string, p probeConfig) string { return onewire.Wire(p.Bus) }

func validateW1(p probeConfig, report func(path, problem string))      { p.w1().Validate(report) }
func validateOneWire(p probeConfig, report func(path, problem string)) { p.oneWire().Validate(report) }

func validateKernel(p probeConfig, report func(path, problem string)) { p.kernel().Validate(report) }
func validateI2C(p probeConfig, report func(path, problem string))    { p.i2c().Validate(report) }

func validateRadio(p probeConfig, report func(path, problem string)) { p.radio().Validate(report) }

// validateRecorded also serves simulated probes: neither is on a wire.
func validateRecorded(p probeConfig, report func(path, problem string)) {
	recorded.ProbeConfig{Entry: p.Entry, Chip: p.Chip}.Validate(report)
	if _, err := sensors.ParseQuantities(p.Quantities); err != nil {
		report("quantities", err.Error())
	}
}

// openBoards makes the sources of a board, one for each wire, so that a wire that hangs holds up no other.
func openBoards(root string, c *config, log *slog.Logger) ([]board, error) {
	var wires []wire
	for _, p := range c.Probes {
		k, _ := sourceKindOf(p.Source)
		if k.open == nil {
			return nil, fmt.Errorf("probe %q: source %s cannot be read live; run it through `nestmon replay`, or write source: w1, onewire, kernel, i2c or radio", p.ID, p.Source)
		}
		name := k.wire(root, p)
		i := slices.IndexFunc(wires, func(w wire) bool { return w.hangs == name && w.kind.name == k.name })
		if i < 0 {
			w := wire{name: name, hangs: name, kind: k}
			if slices.ContainsFunc(wires, func(w wire) bool { return w.hangs == name }) {
				w.name = name + "-" + k.name // two kinds on one wire: a worker and a name for each
			}
			i, wires = len(wires), append(wires, w)
		}
		wires[i].probes = append(wires[i].probes, p)
	}
	all := make([]board, len(wires))
	for i, w := range wires {
		b, err := w.kind.open(root, c, w.name, w.probes, log.With("bus", w.name))
		if err != nil {
			return nil, err
		}
		all[i] = b
	}
	return all, nil
}

// wire is the probes that are read one after another.
type wire struct {
	name   string
	hangs  string // what its probes hang on
	kind   sourceKind
	probes []probeConfig
}

// sinkKind is one way out: a section of the configuration.
type sinkKind struct {
	name   string                                  // its folder in exporter
	says   string                                  // what it is called in the configuration
	target func(c *config) (where string, on bool) // on is false when its section is absent
	open   func(o outlet) (opened, error)          // makes nothing when its section is absent
	tries  func(c *config) []try                   // what can be asked of the far side without sending anything; nil where nothing can
}

// opened is what a sink kind was made into.
type opened struct {
	publishers []exporter.Publisher
	readings   []exporter.ReadingSink
	messages   []exporter.MessageSink
	scraped    func() time.Time // of what others fetch
}

// sinkKinds has one line for each folder of exporter that holds a sink.
var sinkKinds = []sinkKind{
	{"mqtt", "publish.mqtt", mqttTarget, openMQTT, triesMQTT},
	{"metrics", "publish.prometheus", metricsTarget, openMetrics, nil},
	{"influx", "publish.influxdb", influxTarget, openInflux, triesInflux},
	{"web", "publish.page", pageTarget, openPage, nil},
	{"phone", "phone", phoneTarget, openPhone, triesPhone},
}

// openMQTT makes a client for each tree: a will covers one $state, and a connection has one will.
func openMQTT(o outlet) (opened, error) {
	m := o.cfg.Publish.MQTT
	if m == nil {
		return opened{}, nil
	}
	var out opened
	for _, homie4 := range []bool{false, true} {
		if homie4 && !m.Homie4 {
			continue
		}
		client, err := mqtt.New(mqtt.Options{
			Config: *m, Homie4: homie4, Name: o.cfg.Site.Name, Keeper: o.keeper, Store: o.archive, Log: o.log.With("sink", "mqtt"), Now: o.now,
		})
		if err != nil {
			return out, err
		}
		out.publishers = append(out.publishers, client)
	}
	return out, nil
}

func openMetrics(o outlet) (opened, error) {
	if o.cfg.Publish.Prometheus == nil {
		return opened{}, nil
	}
	sink, page := metrics.New(), pageConfig(o.cfg)
	sink.Now, sink.Page = o.now, metrics.PageLink{Listen: page.Listen, Secure: webconfig.Secure(page.WebConfigFile)}
	if err := sink.Serve(*o.cfg.Publish.Prometheus, o.log.With("sink", "prometheus")); err != nil {
		return opened{}, err
	}
	return opened{publishers: []exporter.Publisher{sink}, scraped: sink.Scraped}, nil
}

func openInflux(o outlet) (opened, error) {
	if o.cfg.Publish.InfluxDB == nil {
		return opened{}, nil
	}
	sink, err := influx.New(*o.cfg.Publish.InfluxDB, o.cfg.Site.ID, o.cfg.places())
	if err != nil {
		return opened{}, err
	}
	return opened{readings: []exporter.ReadingSink{sink}}, nil
}

// openPage is different: without its section the page has no address, and the commands still ask it.
func openPage(o outlet) (opened, error) {
	if err := o.page.Start(); err != nil {
		return opened{}, err
	}
	return opened{publishers: []exporter.Publisher{o.page}}, nil
}

func openPhone(o outlet) (opened, error) {
	if o.cfg.Phone == nil {
		return opened{}, nil
	}
	var out opened
	for _, channel := range o.cfg.Phone.Channels {
		made, err := o.openChannel(channel)
		if err != nil {
			return opened{}, err
		}
		out.messages = append(out.messages, made)
	}
	return out, nil
}

// openChannel makes what the block under a channel says, a webhook where there is none.
func (o outlet) openChannel(c phone.Channel) (exporter.MessageSink, error) {
	switch {
	case c.Mail != nil:
		return mail.New(c.Name, c.Level(), *c.Mail)
	case c.Push == nil:
		return phone.New(c)
	}
	made, err := push.New(push.Options{
		Name: c.Name, Level: c.Level(), Config: *c.Push, Store: o.archive, Log: o.log.With("sink", c.Name), Now: o.now, Net: o.push,
	})
	if err != nil {
		return nil, err
	}
	o.page.SignUp(made)
	return made, nil
}

// pageConfig is the page's section, or a page without an address.
func pageConfig(c *config) web.Config {
	if c.Publish.Page == nil {
		return web.Config{Listen: web.None}
	}
	return *c.Publish.Page
}

func sourceKindOf(name string) (sourceKind, bool) {
	for _, k := range sourceKinds {
		if k.name == name {
			return k, true
		}
	}
	return sourceKind{}, false
}
