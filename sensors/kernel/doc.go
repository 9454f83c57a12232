// Package kernel reads temperature and humidity that a kernel driver has already worked out: hwmon and IIO files.
//
// One reader covers every chip the kernel drives (sht3x, sht4x, jc42, tmp102, bme280, dht22, …). A probe is bound by the
// driver's name where only one device bears it, or by its device path, such as /sys/bus/i2c/devices/1-0044; the numbers in
// hwmon3 and iio:device0 change with the order of discovery and are never used. Devices are looked up at every read, so a
// sensor that was unplugged is found again under another number.
//
// Units of the files: m°C and thousandths of a percent RH (Linux ABI; hwmon temp1_input and humidity1_input, IIO
// in_temp_input and in_humidityrelative_input). Limits: only the first temperature and humidity of a device, and no IIO
// device that gives raw values only. The drivers' hwmon files for sht3x and sht4x are known from the kernel's documentation,
// not from a measurement.
package kernel
