// Package tls stands in for crypto/tls in the tablet's program: names that
// net/http mentions, and nothing behind them.
package tls

import (
	"context"
	"errors"
	"net"
)

var errNone = errors.New("tls: there are no sockets in a browser")

const (
	VersionTLS12 = 0x0303
	VersionTLS13 = 0x0304
)

type (
	Certificate     struct{}
	ClientHelloInfo struct{}

	ConnectionState struct {
		ServerName                 string
		NegotiatedProtocol         string
		NegotiatedProtocolIsMutual bool
	}

	Config struct {
		Certificates       []Certificate
		GetCertificate     func(*ClientHelloInfo) (*Certificate, error)
		GetConfigForClient func(*ClientHelloInfo) (*Config, error)
		NextProtos         []string
		ServerName         string
	}

	Conn struct{ net.Conn }

	RecordHeaderError struct {
		RecordHeader [5]byte
		Conn         net.Conn
	}
)

func (c *Config) Clone() *Config                       { d := *c; return &d }
func (c *Conn) ConnectionState() ConnectionState       { return ConnectionState{} }
func (c *Conn) HandshakeContext(context.Context) error { return errNone }
func (RecordHeaderError) Error() string                { return errNone.Error() }

func Client(c net.Conn, _ *Config) *Conn                   { return &Conn{c} }
func NewListener(l net.Listener, _ *Config) net.Listener   { return l }
func LoadX509KeyPair(_, _ string) (c Certificate, _ error) { return c, errNone }
