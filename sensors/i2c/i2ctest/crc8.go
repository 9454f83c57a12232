package i2ctest

// crc8 is the checksum of Sensirion's chips and some others: polynomial 31, begun with ff, bit by bit.
func crc8(b []byte) byte {
	crc := byte(0xff)
	for _, v := range b {
		crc ^= v
		for range 8 {
			carry := crc & 0x80
			crc <<= 1
			if carry != 0 {
				crc ^= 0x31
			}
		}
	}
	return crc
}
