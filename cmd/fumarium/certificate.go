package main

import (
	"crypto/tls"
	"fmt"
	"os"
	"sync"
	"time"

	"github.com/spf13/pflag"
)

// A certificate is one that the operator brings, in two files. They are read again when they
// change: certificates are short-lived, and the daemon is not ended for one in a batch.
type certificate struct {
	cert, key string

	mu     sync.Mutex
	loaded *tls.Certificate
	of     [2]time.Time // of the files that it was read from
	looked time.Time
}

// looksAgain is how long a certificate is taken to be the newest; common practice, no source.
const looksAgain = time.Minute

func (c *certificate) flags(f *pflag.FlagSet) {
	f.StringVar(&c.cert, "tls-cert", "", "`FILE` with your certificate and its chain (PEM): page and API then speak HTTPS only")
	f.StringVar(&c.key, "tls-key", "", "`FILE` with the private key of --tls-cert (PEM)")
}

// config is nil where no certificate is named.
func (c *certificate) config() (*tls.Config, error) {
	switch {
	case c == nil || c.cert == "" && c.key == "":
		return nil, nil
	case c.cert == "" || c.key == "":
		return nil, usage("--tls-cert and --tls-key go together")
	}
	if err := c.load(); err != nil {
		return nil, couldNot(fmt.Errorf("--tls-cert: %w", err))
	}
	return &tls.Config{MinVersion: tls.VersionTLS12, GetCertificate: c.get}, nil
}

func (c *certificate) load() error {
	var of [2]time.Time
	for i, name := range []string{c.cert, c.key} {
		info, err := os.Stat(name)
		if err != nil {
			return err
		}
		of[i] = info.ModTime()
	}
	if c.loaded != nil && of == c.of {
		return nil
	}
	pair, err := tls.LoadX509KeyPair(c.cert, c.key)
	if err != nil {
		return err
	}
	c.loaded, c.of = &pair, of
	return nil
}

// get hands out the certificate. While the files are being changed the one before stands.
func (c *certificate) get(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if now := time.Now(); now.Sub(c.looked) >= looksAgain {
		c.looked = now
		_ = c.load() // the one before is as good as it was
	}
	return c.loaded, nil
}
