package web

import (
	"bufio"
	"crypto/tls"
	"errors"
	"net"
	"net/http"
	"sync"
	"time"
)

// tlsHandshake is the first byte of every TLS connection (RFC 8446, 5.1: the
// content type handshake), and of no HTTP request.
const tlsHandshake = 22

// firstByteTime is how long a connection may stay silent at its start.
const firstByteTime = 10 * time.Second

// ServeTLS serves s over TLS on l, by a certificate and its key as PEM files. Who
// comes to the same port without TLS, as every label's code does, is sent on to
// the same page with it.
func ServeTLS(s *http.Server, l net.Listener, certFile, keyFile string) error {
	cert, err := tls.LoadX509KeyPair(certFile, keyFile)
	if err != nil {
		return err
	}
	both := &sorter{Listener: l, secure: make(chan net.Conn), plain: make(chan net.Conn), done: make(chan struct{})}
	config := &tls.Config{Certificates: []tls.Certificate{cert}, MinVersion: tls.VersionTLS12, NextProtos: []string{"h2", "http/1.1"}}
	onward := Server(http.HandlerFunc(sendToTLS))
	onward.ErrorLog = s.ErrorLog
	s.RegisterOnShutdown(func() { _ = onward.Close() })
	go both.sort()
	go func() { _ = onward.Serve(half{both, both.plain}) }() // ends with the listener
	return s.Serve(tls.NewListener(half{both, both.secure}, config))
}

// sendToTLS keeps the method and the form: 308 (RFC 9110, 15.4.9).
func sendToTLS(w http.ResponseWriter, r *http.Request) {
	if r.Host == "" {
		http.Error(w, "Open this page by its name, with https.", http.StatusBadRequest)
		return
	}
	http.Redirect(w, r, "https://"+r.Host+r.URL.RequestURI(), http.StatusPermanentRedirect)
}

// sorter parts the connections of one listener by their first byte.
type sorter struct {
	net.Listener
	secure, plain chan net.Conn
	done          chan struct{}
	once          sync.Once
	failed        error
}

func (s *sorter) sort() {
	for {
		c, err := s.Listener.Accept()
		if err != nil {
			var temporary net.Error
			if errors.As(err, &temporary) && temporary.Timeout() {
				continue
			}
			s.end(err)
			return
		}
		go s.part(c)
	}
}

func (s *sorter) part(c net.Conn) {
	_ = c.SetReadDeadline(time.Now().Add(firstByteTime)) // a connection that is gone fails below
	r := bufio.NewReaderSize(c, 512)
	first, err := r.Peek(1)
	if err != nil {
		_ = c.Close()
		return
	}
	_ = c.SetReadDeadline(time.Time{})
	to := s.plain
	if first[0] == tlsHandshake {
		to = s.secure
	}
	select {
	case to <- &peeked{c, r}:
	case <-s.done:
		_ = c.Close()
	}
}

func (s *sorter) end(err error) {
	s.once.Do(func() { s.failed = err; close(s.done) })
}

// Close stops both halves.
func (s *sorter) Close() error {
	s.end(net.ErrClosed)
	return s.Listener.Close()
}

// half is the listener of one sort of connection.
type half struct {
	*sorter
	from chan net.Conn
}

func (h half) Accept() (net.Conn, error) {
	select {
	case c := <-h.from:
		return c, nil
	case <-h.done:
		return nil, h.failed
	}
}

// peeked is a connection of which the first bytes were looked at.
type peeked struct {
	net.Conn
	r *bufio.Reader
}

func (p *peeked) Read(b []byte) (int, error) { return p.r.Read(b) }
