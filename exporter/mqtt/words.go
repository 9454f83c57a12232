package mqtt

import (
	"fmt"

	"nestmon/sensors/broker"
)

// unheard is what a failed self check says. Brokers acknowledge what their access list refuses, both to write and to read.
func unheard(host, user, topic, tree string) error {
	if user == "" {
		user = "anonymous"
	}
	return broker.Wrong{Err: fmt.Errorf("mqtt %s: self check failed: the broker took a message on %s and did not give it back; "+
		"allow user %q to write and read %s in the broker's access list", host, topic, user, tree)}
}
