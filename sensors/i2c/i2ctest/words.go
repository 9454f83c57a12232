package i2ctest

// words is a file of registers behind a pointer, each 16 bit wide, most significant byte first.
type words struct {
	pointer byte
	load    func(register byte) uint16
	store   func(register byte, value uint16)
}

// Tx sets the pointer, stores what follows it and loads as many bytes as are asked for.
func (f *words) Tx(w, r []byte) error {
	switch len(w) {
	case 0:
	case 1:
		f.pointer = w[0]
	case 2:
		f.pointer = w[0]
		f.store(f.pointer, uint16(w[1]))
	default:
		f.pointer = w[0]
		f.store(f.pointer, uint16(w[1])<<8|uint16(w[2]))
	}
	v := f.load(f.pointer)
	for i := range r {
		r[i] = byte(v >> (8 * (1 - i%2)))
	}
	return nil
}
