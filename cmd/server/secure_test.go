package main

import (
	"bytes"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"io"
	"math/big"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"
)

// writePair makes a certificate for this machine, good for an hour.
func writePair(t *testing.T, folder string, serial int64) (cert, key string) {
	t.Helper()
	private, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := x509.Certificate{
		SerialNumber: big.NewInt(serial), Subject: pkix.Name{CommonName: "Invented office"},
		NotBefore: time.Now().Add(-time.Minute), NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true,
	}
	raw, err := x509.CreateCertificate(rand.Reader, &template, &template, &private.PublicKey, private)
	if err != nil {
		t.Fatal(err)
	}
	rawKey, err := x509.MarshalPKCS8PrivateKey(private)
	if err != nil {
		t.Fatal(err)
	}
	cert, key = filepath.Join(folder, "cert.pem"), filepath.Join(folder, "key.pem")
	for name, block := range map[string]*pem.Block{cert: {Type: "CERTIFICATE", Bytes: raw}, key: {Type: "PRIVATE KEY", Bytes: rawKey}} {
		if err := os.WriteFile(name, pem.EncodeToMemory(block), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return cert, key
}

// The server speaks HTTPS with HTTP/2 from files, and takes a renewed certificate
// without being started again.
func TestHTTPS(t *testing.T) {
	folder := t.TempDir()
	cert, key := writePair(t, folder, 1)
	ctx, stop := context.WithCancel(context.Background())
	ready, done := make(chan struct{}), make(chan error, 1)
	printed := &said{until: regexp.MustCompile(`type this code:\n.*\n`), then: sync.OnceFunc(func() { close(ready) })}
	go func() {
		done <- run(ctx, []string{"-addr", "127.0.0.1:0", "-data", filepath.Join(folder, "data"), "-cert", cert, "-key", key}, printed, io.Discard)
	}()
	defer func() {
		stop()
		if err := <-done; err != nil {
			t.Error(err)
		}
	}()
	select {
	case err := <-done:
		done <- nil
		t.Fatal(err)
	case <-ready:
	}
	_, at, _ := strings.Cut(printed.String(), "answers at ")
	at, _, _ = strings.Cut(at, "\n")
	if !strings.HasPrefix(at, "https://") {
		t.Fatalf("it answers at %s", at)
	}
	get := func() (*http.Response, int64) {
		client := &http.Client{Transport: &http.Transport{ForceAttemptHTTP2: true, DisableKeepAlives: true,
			TLSClientConfig: &tls.Config{InsecureSkipVerify: true}}} // it is its own authority
		answer, err := client.Get(at + "sign-in")
		if err != nil {
			t.Fatal(err)
		}
		answer.Body.Close()
		return answer, answer.TLS.PeerCertificates[0].SerialNumber.Int64()
	}
	answer, serial := get()
	if answer.StatusCode != http.StatusOK || answer.ProtoMajor != 2 || serial != 1 || answer.Header.Get("Strict-Transport-Security") == "" {
		t.Errorf("status %d, %s, certificate %d, header %q", answer.StatusCode, answer.Proto, serial, answer.Header)
	}
	writePair(t, folder, 2)
	later := time.Now().Add(time.Second)
	if err := os.Chtimes(cert, later, later); err != nil {
		t.Fatal(err)
	}
	if _, serial := get(); serial != 2 {
		t.Errorf("after the renewal the certificate is %d", serial)
	}
	if err := os.WriteFile(cert, []byte("not a certificate"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, serial := get(); serial != 2 {
		t.Errorf("with a broken file the certificate is %d", serial)
	}
}

func TestHTTPSFlags(t *testing.T) {
	for args, want := range map[string]string{
		"-cert x":                     "go together",
		"-cert x -key y":              "no such file",
		"-cert x -key y -acme a.test": "either",
	} {
		var out bytes.Buffer
		err := run(context.Background(), append(strings.Fields(args), "-addr", "127.0.0.1:0", "-data", t.TempDir()), &out, io.Discard)
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want something of %q", args, err, want)
		}
	}
}
