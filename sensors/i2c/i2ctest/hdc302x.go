package i2ctest

import "time"

// HDC302x measures by itself when it was told to, gives each measurement once, and has forgotten to measure after a loss of supply.
// Commands and status bits as periph's hdc302x writes them.
type HDC302x struct {
	Celsius, Humidity float64
	Maker             uint16
	Heater            bool

	slow    int
	period  time.Duration // 0 while it does not measure by itself
	since   time.Time     // when it began to
	given   int           // measurements given
	reset   bool          // the status bit
	heated  time.Time     // when the heater was last on
	serial  [3]uint16
	offsets uint16
}

// How the emulated heater warms: by so much while it is on, by half of it for a while after. Ours; no chip was measured.
const (
	hdc302xWarmth  = 30.0 // K
	hdc302xCooling = 2 * time.Minute
)

// NewHDC302x makes one as after power-on.
func NewHDC302x(celsius, humidity float64) *HDC302x {
	return &HDC302x{Celsius: celsius, Humidity: humidity, Maker: 0x3000, reset: true, serial: [3]uint16{0xc295, 0xb149, 0x1521}, offsets: 0x8080}
}

var hdc302xPeriods = map[uint16]time.Duration{
	0x2032: 2 * time.Second, 0x2130: time.Second, 0x2236: 500 * time.Millisecond, 0x2334: 250 * time.Millisecond, 0x2737: 100 * time.Millisecond,
}

// Tx takes a command of two bytes and its data, and gives its answer in the same transaction.
func (c *HDC302x) Tx(w, r []byte) error {
	if len(w) < 2 {
		return ErrNack
	}
	var answer []byte
	switch command := uint16(w[0])<<8 | uint16(w[1]); command {
	case 0x3093:
		c.period = 0
	case 0x3066:
		c.heat(false)
	case 0x306d:
		c.heat(true)
	case 0x3041:
		c.reset = false
	case 0x30a2:
		c.Reset()
	case 0x306e: // the heater's power
	case 0x3781:
		answer = sensirion(c.Maker)
	case 0x3683, 0x3684, 0x3685:
		answer = sensirion(c.serial[command-0x3683])
	case 0xa004:
		answer = sensirion(c.offsets)
	case 0xf32d:
		answer = sensirion(c.status())
	case 0xe000:
		if !c.measured() {
			return ErrNack
		}
		answer = append(sensirion(ticks((c.celsius()+45)/175)), sensirion(ticks(c.Humidity/100))...)
	default:
		period, known := hdc302xPeriods[command]
		if !known {
			return ErrNack
		}
		c.period, c.since, c.given = period*time.Duration(max(c.slow, 1)), time.Now(), 0
	}
	if len(r) > 0 && answer == nil {
		return ErrNack
	}
	for i := range r {
		r[i] = 0xff
	}
	copy(r, answer)
	return nil
}

// Reset is a loss of supply. The chip stays as warm as it was.
func (c *HDC302x) Reset() {
	c.heat(false)
	c.period, c.reset = 0, true
}

// Slow makes measurements come so many times as seldom, from the next start on.
func (c *HDC302x) Slow(factor int) { c.slow = factor }

func (c *HDC302x) heat(on bool) {
	if c.Heater || on {
		c.heated = time.Now()
	}
	c.Heater = on
}

func (c *HDC302x) status() (bits uint16) {
	if c.Heater {
		bits |= 1 << 13
	}
	if c.reset {
		bits |= 1 << 4
	}
	return bits
}

// measured reports whether there is a measurement that was not given yet, and gives it.
func (c *HDC302x) measured() bool {
	if c.period == 0 {
		return false
	}
	n := int(time.Since(c.since) / c.period)
	fresh := n > c.given
	c.given = n
	return fresh
}

func (c *HDC302x) celsius() float64 {
	switch {
	case c.Heater:
		return c.Celsius + hdc302xWarmth
	case !c.heated.IsZero() && time.Since(c.heated) < hdc302xCooling:
		return c.Celsius + hdc302xWarmth/2
	}
	return c.Celsius
}
