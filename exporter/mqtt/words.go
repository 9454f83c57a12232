package mqtt

import "fmt"

// unheard is what a failed self check says. Brokers acknowledge what their access list refuses, both to write and to read.
func unheard(broker, user, topic, tree string) error {
	if user == "" {
		user = "anonymous"
	}
	return fmt.Errorf("mqtt %s: self check failed: the broker took a message on %s and did not give it back; "+
		"allow user %q to write and read %s in the broker's access list", broker, topic, user, tree)
}
