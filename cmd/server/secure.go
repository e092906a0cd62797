package main

import (
	"crypto/tls"
	"errors"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"golang.org/x/crypto/acme/autocert"
)

// secure gives how the server speaks HTTPS: with a certificate and key from
// files, which are read again when they have changed; or with certificates that
// it gets by ACME for some names, separated by commas, and keeps in the folder.
// Nil: it speaks HTTP.
func secure(cert, key, names, folder string, logf func(string, ...any)) (*tls.Config, error) {
	switch {
	case (cert == "") != (key == ""):
		return nil, errors.New("-cert and -key go together: the files of a certificate and of its key")
	case cert != "" && names != "":
		return nil, errors.New("-acme gets the certificate itself: give either that or -cert and -key")
	case names != "":
		m := &autocert.Manager{
			Prompt:     autocert.AcceptTOS,
			HostPolicy: autocert.HostWhitelist(strings.FieldsFunc(names, func(r rune) bool { return r == ',' || r == ' ' })...),
			Cache:      autocert.DirCache(filepath.Join(folder, "certificates")),
		}
		c := m.TLSConfig()
		c.MinVersion = tls.VersionTLS12
		return c, nil
	case cert != "":
		p := &pair{cert: cert, key: key, logf: logf}
		if err := p.load(); err != nil {
			return nil, err
		}
		return &tls.Config{GetCertificate: p.get, MinVersion: tls.VersionTLS12, NextProtos: []string{"h2", "http/1.1"}}, nil
	}
	return nil, nil
}

// pair is a certificate with its key, in two files.
type pair struct {
	cert, key string
	logf      func(string, ...any)

	mu     sync.Mutex
	loaded tls.Certificate
	at     time.Time // when the file was written that is loaded
}

func (p *pair) load() error {
	info, err := os.Stat(p.cert)
	if err != nil {
		return err
	}
	if info.ModTime().Equal(p.at) {
		return nil
	}
	c, err := tls.LoadX509KeyPair(p.cert, p.key)
	if err != nil {
		return err
	}
	p.loaded, p.at = c, info.ModTime()
	return nil
}

// get is the certificate as it stands in the files; while those cannot be read,
// the last that could.
func (p *pair) get(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if err := p.load(); err != nil {
		p.logf("certificate: %v", err)
	}
	c := p.loaded
	return &c, nil
}

// lasting tells browsers to come by HTTPS only, for half a year.
func lasting(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Strict-Transport-Security", "max-age=15768000")
		next.ServeHTTP(w, r)
	})
}
