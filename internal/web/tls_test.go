package web

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"io"
	"math/big"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// ownCertificate is one that a maker could have made, and a pool that trusts it.
func ownCertificate(t *testing.T) (certFile, keyFile string, trusted *x509.CertPool) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	now := time.Now()
	template := &x509.Certificate{SerialNumber: big.NewInt(1), NotBefore: now.Add(-time.Hour), NotAfter: now.Add(time.Hour), IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	private, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	certFile, keyFile = filepath.Join(dir, "cert.pem"), filepath.Join(dir, "key.pem")
	for file, block := range map[string]*pem.Block{certFile: {Type: "CERTIFICATE", Bytes: der}, keyFile: {Type: "PRIVATE KEY", Bytes: private}} {
		if err := os.WriteFile(file, pem.EncodeToMemory(block), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	parsed, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	trusted = x509.NewCertPool()
	trusted.AddCert(parsed)
	return certFile, keyFile, trusted
}

// One port takes both: pages come over TLS, and a label's http:// is sent on.
func TestServeTLS(t *testing.T) {
	certFile, keyFile, trusted := ownCertificate(t)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s := Server(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		http.SetCookie(w, TokenCookie(r, "x"))
		body, _ := io.ReadAll(r.Body)
		_, _ = io.WriteString(w, r.Method+" "+r.URL.RequestURI()+" "+r.Proto+" "+string(body)) // a lost answer fails below
	}))
	ended := make(chan error, 1)
	go func() { ended <- ServeTLS(s, l, certFile, keyFile) }()
	client := &http.Client{Timeout: 10 * time.Second, Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: trusted}, ForceAttemptHTTP2: true}}
	for _, scheme := range []string{"https", "http"} {
		res, err := client.Post(scheme+"://"+l.Addr().String()+"/J/K7RM4T?open=reading", "text/plain", strings.NewReader("ph=3"))
		if err != nil {
			t.Fatal(err)
		}
		body, err := io.ReadAll(res.Body)
		res.Body.Close()
		if err != nil || string(body) != "POST /J/K7RM4T?open=reading HTTP/2.0 ph=3" || res.TLS == nil || res.TLS.Version < tls.VersionTLS12 {
			t.Errorf("%s: %q, %v", scheme, body, err)
		}
		if cookie := res.Header.Get("Set-Cookie"); !strings.Contains(cookie, "Secure") {
			t.Errorf("over TLS the cookie is %q", cookie)
		}
	}
	// Plain HTTP shows nothing and sets nothing.
	bare := &http.Client{Timeout: 10 * time.Second, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	res, err := bare.Get("http://" + l.Addr().String() + "/J/K7RM4T")
	if err != nil {
		t.Fatal(err)
	}
	res.Body.Close()
	if res.StatusCode != http.StatusPermanentRedirect || res.Header.Get("Location") != "https://"+l.Addr().String()+"/J/K7RM4T" || len(res.Cookies()) != 0 {
		t.Errorf("%d to %q", res.StatusCode, res.Header.Get("Location"))
	}
	// RFC 8996: TLS 1.0 and 1.1 must not be used.
	old, err := tls.Dial("tcp", l.Addr().String(), &tls.Config{RootCAs: trusted, MinVersion: tls.VersionTLS10, MaxVersion: tls.VersionTLS11})
	if err == nil {
		old.Close()
		t.Error("TLS 1.1 is spoken")
	}
	// One who says nothing holds nobody up.
	silent, err := net.Dial("tcp", l.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	defer silent.Close()
	if res, err := client.Get("https://" + l.Addr().String() + "/"); err != nil {
		t.Error(err)
	} else {
		res.Body.Close()
	}
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	if err := s.Shutdown(ctx); err != nil {
		t.Error(err)
	}
	if err := <-ended; !errors.Is(err, http.ErrServerClosed) {
		t.Errorf("it ended by %v", err)
	}
	if err := ServeTLS(s, l, keyFile, certFile); err == nil {
		t.Error("a key is taken for a certificate")
	}
}

// Who opens a connection and says nothing does not keep it.
func TestSilentConnectionsEnd(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		phone, station := net.Pipe()
		s := &sorter{secure: make(chan net.Conn), plain: make(chan net.Conn), done: make(chan struct{})}
		go s.part(station)
		begun := time.Now()
		if _, err := phone.Read(make([]byte, 1)); err != io.EOF || time.Since(begun) != firstByteTime {
			t.Errorf("after %v: %v", time.Since(begun), err)
		}
	})
}
