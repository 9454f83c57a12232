package bme280

import (
	"math"
	"math/rand/v2"
	"testing"
	"testing/synctest"

	"nestmon/sensors/i2c/i2ctest"
)

// periph's driver is the reference wherever it is right: coefficients without a sign.
func TestFormulasAgreeWithPeriph(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := rand.New(rand.NewPCG(1, 2))
		for range 300 {
			emulated := i2ctest.NewBME280()
			emulated.Calibration[0xe4] = byte(r.IntN(0x20))
			emulated.Calibration[0xe5] = byte(r.IntN(0x100))
			emulated.Calibration[0xe6] = byte(r.IntN(0x08))
			emulated.Calibration[0xa1] = byte(60 + r.IntN(30))
			emulated.T, emulated.H = uint32(380_000+r.IntN(250_000)), uint32(15_000+r.IntN(25_000))
			b := i2ctest.With(Driver, emulated)
			_, sense := alone(t, b)
			celsius, percent := sense()
			got, err := i2ctest.Open(t, Driver, b).Read()
			if emulated.H == notMeasured {
				continue
			}
			if err != nil || math.Abs(got[0]-celsius) > 1e-9 || math.Abs(got[1]-percent) > 1e-3 {
				t.Fatalf("raw %d and %d: got %v, %v; periph says %v and %v", emulated.T, emulated.H, got, err, celsius, percent)
			}
		}
	})
}

// By the formula, raw·2^14 - H4·2^20 - H5·x, a coefficient can be traded for raw counts: H4 = -256 is 16384 of them, and H5 = -1 where x is
// 3·2^14 is 3. So what a negative coefficient must give follows from one without a sign, which periph vouches for.
func TestCoefficientsWithASign(t *testing.T) {
	real280 := parse(unhex(t, "106e6c665e015d95b8d5d00b771e9dfff9ffac260ad8bd10004b"), unhex(t, "6e01001305001e"))
	const fine = 76800 + 3<<14
	for _, row := range []struct {
		name       string
		e4, e5, e6 byte
		h4, h5     int16
		trade      int32
	}{
		{"H4 = -256", 0xf0, 0x00, 0x00, -256, 0, 256 * 64},
		{"H4 = -1", 0xff, 0x0f, 0x00, -1, 0, 64},
		{"H5 = -1", 0x00, 0xf0, 0xff, 0, -1, 3},
		{"H5 = -16", 0x00, 0x00, 0xff, 0, -16, 48},
		{"both", 0xff, 0xff, 0xff, -1, -1, 67},
	} {
		t.Run(row.name, func(t *testing.T) {
			low := unhex(t, "106e6c665e015d95b8d5d00b771e9dfff9ffac260ad8bd10004b")
			got := parse(low, []byte{0x6e, 0x01, 0, row.e4, row.e5, row.e6, 0x1e})
			if got.h4 != row.h4 || got.h5 != row.h5 {
				t.Fatalf("H4 %d and H5 %d, want %d and %d", got.h4, got.h5, row.h4, row.h5)
			}
			plain := real280
			plain.h4, plain.h5 = 0, 0
			const raw = 12000
			if g, w := got.humidity(raw, fine), plain.humidity(raw+row.trade, fine); g != w {
				t.Errorf("got %d, want %d", g, w)
			}
		})
	}
}

// periph takes H5 = -1 for 4095. It takes H4 = -1 for 4095 too, which the overflow of 32 bit puts right again.
func TestPeriphDropsTheSign(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		emulated := i2ctest.NewBME280()
		b := i2ctest.With(Driver, emulated)
		compare := func(want func(difference float64) bool) {
			t.Helper()
			_, sense := alone(t, b)
			_, percent := sense()
			got, err := i2ctest.Open(t, Driver, b).Read()
			if err != nil || !want(math.Abs(got[1]-percent)) {
				t.Errorf("got %v, %v; periph alone says %v %%", got, err, percent)
			}
		}
		emulated.Calibration[0xe5], emulated.Calibration[0xe6] = 0xf5, 0xff
		compare(func(d float64) bool { return d > 10 })
		emulated.Calibration[0xe4], emulated.Calibration[0xe5], emulated.Calibration[0xe6], emulated.H = 0xff, 0x0f, 0, 11000
		compare(func(d float64) bool { return d < 1e-3 })
	})
}
