package chip

import (
	"fmt"
	"strings"
)

// Witness is a bus that remembers why the last transaction failed: some drivers tell no more than that one did.
type Witness struct {
	Bus
	err error
}

// Tx does one transaction.
func (w *Witness) Tx(addr uint16, write, read []byte) error {
	w.err = w.Bus.Tx(addr, write, read)
	return w.err
}

// Because adds to a driver's error what the bus said.
func (w *Witness) Because(err error) error {
	if err == nil || w.err == nil {
		return err
	}
	if strings.Contains(err.Error(), w.err.Error()) { // told already, though not wrapped
		return &wrapped{err.Error(), w.err}
	}
	return fmt.Errorf("%w: %w", err, w.err)
}

// wrapped is an error whose text holds its cause already.
type wrapped struct {
	text  string
	cause error
}

func (w *wrapped) Error() string { return w.text }
func (w *wrapped) Unwrap() error { return w.cause }
