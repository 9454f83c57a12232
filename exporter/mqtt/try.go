package mqtt

import (
	"context"
	"fmt"
	"net"
	"net/url"
	"os"

	paho "github.com/eclipse/paho.mqtt.golang"

	"nestmon/sensors/broker"
)

// Try asks whether the broker would let this client in, under a client id of its own so that a running daemon stays connected. Nothing is
// published, so what the broker's access list refuses is not seen.
func Try(ctx context.Context, c Config) error {
	password, err := c.password()
	if err != nil {
		return fmt.Errorf("mqtt: %w", err)
	}
	u, err := url.Parse(c.Broker)
	if err != nil {
		return fmt.Errorf("mqtt: broker is not an address; write tcp://HOST:PORT or ssl://HOST:PORT")
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	client := paho.NewClient(paho.NewClientOptions().
		AddBroker(c.Broker).
		SetClientID(fmt.Sprintf("nestmoncheck%d", os.Getpid())).
		SetUsername(c.Username).
		SetPassword(password.Reveal()).
		SetProtocolVersion(protocol).
		SetCleanSession(true).
		SetAutoReconnect(false).
		SetCustomOpenConnectionFn(func(u *url.URL, _ paho.ClientOptions) (net.Conn, error) {
			conn, err := broker.Open(ctx, u, c.Files())
			if err == nil {
				context.AfterFunc(ctx, func() { _ = conn.Close() }) // paho waits for CONNACK without end
			}
			return conn, err
		}))
	who, token := "mqtt "+u.Host, client.Connect()
	select {
	case <-token.Done():
	case <-ctx.Done():
		return fmt.Errorf("%s: cannot connect: no answer in time; is the broker running and reachable, and are host and port right?", who)
	}
	if err := token.Error(); err != nil {
		return broker.Refusal(who, c.Files(), err)
	}
	client.Disconnect(goodbyeQuiesce)
	return nil
}
