package line

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"net"
	"time"

	"github.com/eclipse/paho.golang/packets"
	"github.com/eclipse/paho.golang/paho"

	"fumarium/cmd/fumarium-mqtt/internal/said"
)

// All common practice, no source.
const (
	answers    = 10 * time.Second // within which the broker must
	keepAlive  = 30               // seconds
	firstPause = time.Second      // before it is tried again; each is twice the one before
	mostPause  = 5 * time.Minute
	// mostPacket is what the broker is told to send at most: it has nothing to say but yes and no.
	mostPacket = 16 << 10
)

// A Broker is one connection to a broker, for one cabinet.
type Broker struct {
	Address  string // host:port
	TLS      *tls.Config
	User     string
	Password []byte
	Client   string       // its name at the broker: no other may have it
	Will     said.Message // which the broker says when this program is gone
	Log      *slog.Logger

	said string
}

// Run sends what is in the queue until ctx ends, then says the will.
func (b *Broker) Run(ctx context.Context, q *Queue) {
	pause := firstPause
	for {
		began := time.Now()
		err := b.once(ctx, q)
		if ctx.Err() != nil {
			return
		}
		if text := err.Error(); text != b.said {
			b.said = text
			b.Log.Warn("the broker does not have all; it is tried again", "broker", b.Address, "err", text)
		}
		if time.Since(began) > time.Minute { // it went well for long
			pause = firstPause
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(pause/2 + rand.N(pause)): // many shall not come back at once
		}
		pause = min(2*pause, mostPause)
	}
}

// hasty gives up a write that the other end does not take.
type hasty struct{ net.Conn }

func (c hasty) Write(p []byte) (int, error) {
	_ = c.SetWriteDeadline(time.Now().Add(answers))
	return c.Conn.Write(p)
}

// refusals are what CONNACK says that a person can mend (MQTT 5, table 3-1).
var refusals = map[byte]string{
	0x84: "it does not speak MQTT 5",
	0x85: "it does not take the name of the cabinet as that of a client",
	0x86: "it refuses user or password: look at --user and --password-file, and at its lists",
	0x87: "it refuses user or password: look at --user and --password-file, and at its lists",
	0x8a: "it has barred this client",
}

// never are what PUBACK says that no second try changes (MQTT 5, table 3-4).
var never = map[byte]string{
	0x87: "it lets this user not publish there: look at its lists",
	0x90: "it does not take this topic",
	0x95: "the message is too large for it",
	0x99: "it does not take this body",
}

// once is one connection: it ends with an error, or with ctx.
func (b *Broker) once(ctx context.Context, q *Queue) error {
	dial, cancel := context.WithTimeout(ctx, answers)
	defer cancel()
	conn, err := (&net.Dialer{}).DialContext(dial, "tcp", b.Address)
	if err != nil {
		return err
	}
	if b.TLS != nil {
		secured := tls.Client(conn, b.TLS)
		if err := secured.HandshakeContext(dial); err != nil {
			conn.Close()
			return fmt.Errorf("TLS: %w", err)
		}
		conn = secured
	}
	lost := make(chan error, 1)
	lose := func(err error) {
		select {
		case lost <- err:
		default:
		}
	}
	client := paho.NewClient(paho.ClientConfig{
		Conn: packets.NewThreadSafeConn(hasty{conn}), PacketTimeout: answers,
		OnClientError: lose,
		OnServerDisconnect: func(d *paho.Disconnect) {
			lose(fmt.Errorf("it ended the connection, reason 0x%02x", d.ReasonCode))
		},
	})
	one, most := uint16(1), uint32(mostPacket)
	ack, err := client.Connect(ctx, &paho.Connect{
		ClientID: b.Client, CleanStart: true, KeepAlive: keepAlive,
		Username: b.User, UsernameFlag: b.User != "", Password: b.Password, PasswordFlag: len(b.Password) > 0,
		Properties:  &paho.ConnectProperties{ReceiveMaximum: &one, MaximumPacketSize: &most, RequestProblemInfo: true},
		WillMessage: &paho.WillMessage{Topic: b.Will.Topic, Payload: b.Will.Body, QoS: 1, Retain: b.Will.Retain},
	})
	if err != nil {
		if ack != nil && ack.ReasonCode >= 0x80 {
			if why := refusals[ack.ReasonCode]; why != "" {
				return errors.New(why)
			}
			return fmt.Errorf("it refuses the connection, reason 0x%02x", ack.ReasonCode)
		}
		return err
	}
	b.said = ""
	b.Log.Info("connected", "broker", b.Address, "as", b.Client)
	q.again()
	for {
		m, is := q.next()
		if !is {
			select {
			case <-q.wake:
				continue
			case err := <-lost:
				_ = client.Disconnect(&paho.Disconnect{})
				return err
			case <-ctx.Done():
			}
		}
		if ctx.Err() != nil { // 0x04: the will is to be said
			return client.Disconnect(&paho.Disconnect{ReasonCode: 0x04})
		}
		got, err := client.Publish(ctx, &paho.Publish{QoS: 1, Retain: m.Retain, Topic: m.Topic, Payload: m.Body})
		switch {
		case err == nil:
			q.done(m)
		case got != nil && never[got.ReasonCode] != "":
			q.done(m)
			b.Log.Warn("the broker refuses a message, which is given up: "+never[got.ReasonCode], "broker", b.Address, "topic", m.Topic)
		case ctx.Err() != nil:
		default:
			_ = client.Disconnect(&paho.Disconnect{ReasonCode: 0x04})
			select {
			case first := <-lost: // which says more
				err = first
			default:
			}
			return err
		}
	}
}
