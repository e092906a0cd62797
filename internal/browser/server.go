package browser

import (
	"context"
	"net"
	"net/http"
	"testing"
	"time"
)

// Server is an HTTP server that a test can really stop, and start again at the
// same address.
type Server struct {
	URL string

	t       testing.TB
	handler http.Handler
	server  *http.Server
}

// Serve starts a server on a free port of 127.0.0.1, which browsers treat as a
// safe place for service workers. It ends with the test.
func Serve(t testing.TB, h http.Handler) *Server {
	t.Helper()
	s := &Server{t: t, handler: h}
	s.listen("127.0.0.1:0")
	t.Cleanup(s.Stop)
	return s
}

func (s *Server) listen(address string) {
	s.t.Helper()
	l, err := net.Listen("tcp", address)
	if err != nil {
		s.t.Fatal(err)
	}
	s.URL = "http://" + l.Addr().String()
	s.server = &http.Server{Handler: s.handler, ReadHeaderTimeout: 10 * time.Second}
	go s.server.Serve(l)
}

// Stop stops listening and cuts every connection. Stopping twice is fine.
func (s *Server) Stop() {
	if s.server != nil {
		s.server.Close()
		s.server = nil
	}
}

// Again starts the server at the address it had.
func (s *Server) Again() {
	s.t.Helper()
	s.Stop()
	address := s.URL[len("http://"):]
	// The port may be held for a moment by the connections just cut.
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	err := poll(ctx, func() bool {
		l, err := net.Listen("tcp", address)
		if err == nil {
			l.Close()
		}
		return err == nil
	})
	if err != nil {
		s.t.Fatalf("the address %s is still taken", address)
	}
	s.listen(address)
}
