package radio

import (
	"crypto/x509"
	"errors"
	"fmt"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

// refusedConnection puts why a connection could not be made into words with a remedy.
func refusedConnection(broker string, err error) error {
	var unknown x509.UnknownAuthorityError
	var wrongName x509.HostnameError
	remedy := "is the broker running and reachable?"
	switch {
	case errors.Is(err, packets.ErrorRefusedNotAuthorised), errors.Is(err, packets.ErrorRefusedBadUsernameOrPassword):
		return fmt.Errorf("radio %s: the broker refused the user name or password (%w); check username and password_file", broker, err)
	case errors.Is(err, packets.ErrorRefusedIDRejected):
		return fmt.Errorf("radio %s: the broker refused the client id (%w); set client_id", broker, err)
	case errors.As(err, &unknown):
		remedy = "write the certificate that signed the broker's as ca_file"
	case errors.As(err, &wrongName):
		remedy = "write the broker's name as it stands in its certificate"
	}
	return fmt.Errorf("radio %s: cannot connect: %w; %s", broker, err, remedy)
}
