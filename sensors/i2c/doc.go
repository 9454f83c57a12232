// Package i2c reads chips on I2C buses, /dev/i2c-N, without a kernel driver for them.
//
// A bus is one line that every chip on it shares. It is opened when it is first needed and again after it was lost, every transaction on
// it is counted, what failed is told apart by the kernel's words, and what may pass by itself is tried once more. A chip is made
// ready when it is first asked and made ready anew after it failed; what does not answer is asked less and less often. The drivers stand
// in folders of their own, one for each chip, and drivers.go lists them.
//
// No value of a chip says which nest it hangs in. A chip is bound to its bus, its address and, where several chips have one address, to
// the multiplexer and the channel it hangs behind. Leave the multiplexer to the kernel where you can (i2c-mux-pca954x): each channel is
// then a bus of its own, /dev/i2c-11 and so on, and nothing here can take one for the other. Where nestmon switches it, the channel is
// set anew for each transaction and read back before and after, because a multiplexer that lost its supply, or that another program
// switched, would otherwise give another nest's air in good order.
//
// What cannot be seen from here: a bit that flips in a chip without a checksum, another program that switches a multiplexer away and back
// within one transaction, and two cables that were swapped.
package i2c
