package chip

// CRC8 is the checksum of Sensirion's chips and of TI's HDC302x: polynomial 31, begun with FF (SHT3x-DIS datasheet v5, table 20).
func CRC8(data []byte) byte {
	crc := byte(0xff)
	for _, b := range data {
		crc ^= b
		for range 8 {
			carry := crc&0x80 != 0
			if crc <<= 1; carry {
				crc ^= 0x31
			}
		}
	}
	return crc
}
