package i2ctest

// PCA9548 is a multiplexer: one register, a bit for each channel. None is open after power-on (TI SCPS143).
type PCA9548 struct {
	Control  byte
	Channels [8]map[uint16]Chip
}

// Tx stores the last byte written and answers with the register.
func (m *PCA9548) Tx(w, r []byte) error {
	if len(w) > 0 {
		m.Control = w[len(w)-1]
	}
	for i := range r {
		r[i] = m.Control
	}
	return nil
}

// Reset closes all channels.
func (m *PCA9548) Reset() { m.Control = 0 }

func (m *PCA9548) behind(addr uint16) (chips []Chip) {
	for i, channel := range m.Channels {
		if m.Control&(1<<i) == 0 {
			continue
		}
		if c, ok := channel[addr]; ok {
			chips = append(chips, c)
		}
	}
	return chips
}
