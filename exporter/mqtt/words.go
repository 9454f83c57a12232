package mqtt

import (
	"crypto/x509"
	"errors"
	"fmt"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

// refusal puts why a connection could not be made into words with a remedy.
func refusal(broker string, err error) error {
	var unknown x509.UnknownAuthorityError
	var wrongName x509.HostnameError
	remedy := "is the broker running and reachable?"
	switch {
	case errors.Is(err, packets.ErrorRefusedNotAuthorised), errors.Is(err, packets.ErrorRefusedBadUsernameOrPassword):
		return fmt.Errorf("mqtt %s: the broker refused the user name or password (%w); check username and password_file", broker, err)
	case errors.Is(err, packets.ErrorRefusedIDRejected):
		return fmt.Errorf("mqtt %s: the broker refused the client id (%w); set client_id", broker, err)
	case errors.As(err, &unknown):
		remedy = "write the certificate that signed the broker's as ca_file"
	case errors.As(err, &wrongName):
		remedy = "write the broker's name as it stands in its certificate"
	}
	return fmt.Errorf("mqtt %s: cannot connect: %w; %s", broker, err, remedy)
}

// unheard is what a failed self check says. Brokers acknowledge what their access list refuses, both to write and to read.
func unheard(broker, user, topic, tree string) error {
	if user == "" {
		user = "anonymous"
	}
	return fmt.Errorf("mqtt %s: self check failed: the broker took a message on %s and did not give it back; "+
		"allow user %q to write and read %s in the broker's access list", broker, topic, user, tree)
}
