package kernel

import (
	"errors"
	"fmt"
	"io/fs"
	"strconv"
	"strings"
	"syscall"

	"nestmon/sensors"
)

// errnoTexts are what some files of some drivers print instead of failing: -EIO and -ENODEV, measured in w1_therm. Taken for
// thousandths of a degree they would be a frost nobody notices. The price: a chip with steps of 0.001 °C loses two of them.
var errnoTexts = [...]string{"-5", "-19"}

// parse reads the one number a kernel file holds, in thousandths.
func parse(text []byte) (float64, error) {
	word := strings.TrimSpace(string(text))
	for _, e := range errnoTexts {
		if word == e {
			return 0, fmt.Errorf("%q is an error number, not a measurement", word)
		}
	}
	for _, r := range word { // ParseFloat would take nan, inf and hexadecimal
		if (r < '0' || r > '9') && r != '-' && r != '.' {
			return 0, fmt.Errorf("%q is not a number", word)
		}
	}
	milli, err := strconv.ParseFloat(word, 64)
	if err != nil {
		return 0, fmt.Errorf("%q is not a number", word)
	}
	return milli / 1000, nil
}

// remoteIO is Linux's EREMOTEIO, nobody acknowledged on the I2C bus; other systems, where the program is built too, lack the name.
const remoteIO = syscall.Errno(121)

// faultOf classifies the failure of a read; w1 tells the kernel's own 1-Wire thermometer files, where EIO is a bad checksum.
func faultOf(err error, w1 bool) sensors.Fault {
	switch {
	case errors.Is(err, errAmbiguous):
		return sensors.WrongProbe
	case w1 && errors.Is(err, syscall.EIO):
		return sensors.BadChecksum
	case errors.Is(err, fs.ErrNotExist), errors.Is(err, syscall.ENODEV), errors.Is(err, syscall.ENXIO),
		errors.Is(err, remoteIO), errors.Is(err, syscall.ETIMEDOUT), errors.Is(err, syscall.EIO):
		return sensors.NoAnswer
	case errors.Is(err, syscall.EAGAIN), errors.Is(err, syscall.ENODATA), errors.Is(err, syscall.EINTR):
		return sensors.NotConverted
	case errors.Is(err, syscall.EPROTO), errors.Is(err, syscall.EBADMSG):
		return sensors.BadChecksum
	}
	return sensors.NoAnswer
}
