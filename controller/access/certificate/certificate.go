// Package certificate serves with a certificate that the operator brings, in two files. They
// are read again when they change: certificates are short-lived, and the program is not ended
// for one in a batch.
package certificate

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/hex"
	"encoding/pem"
	"errors"
	"math/big"
	"net"
	"os"
	"sync"
	"time"
)

type certificate struct {
	cert, key string

	mu     sync.Mutex
	loaded *tls.Certificate
	of     [2]time.Time // of the files that it was read from
	looked time.Time
}

// looksAgain is how long a certificate is taken to be the newest; common practice, no source.
const looksAgain = time.Minute

// Config reads the files of a certificate with its chain and of its key (PEM).
func Config(cert, key string) (*tls.Config, error) {
	c := &certificate{cert: cert, key: key}
	if err := c.load(); err != nil {
		return nil, err
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

// SelfSigned makes a certificate for these names and addresses that only its fingerprint
// vouches for, with its key, both as PEM.
func SelfSigned(hosts []string, lasts time.Duration) (cert, key []byte, err error) {
	private, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, nil, err
	}
	number, err := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 120))
	if err != nil {
		return nil, nil, err
	}
	made := &x509.Certificate{
		SerialNumber: number, Subject: pkix.Name{CommonName: hosts[0]}, NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(lasts),
		IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
	}
	for _, h := range hosts {
		if ip := net.ParseIP(h); ip != nil {
			made.IPAddresses = append(made.IPAddresses, ip)
		} else {
			made.DNSNames = append(made.DNSNames, h)
		}
	}
	der, err := x509.CreateCertificate(rand.Reader, made, made, &private.PublicKey, private)
	if err != nil {
		return nil, nil, err
	}
	secret, err := x509.MarshalPKCS8PrivateKey(private)
	return pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: secret}), err
}

// Fingerprint is the SHA-256 of a certificate (DER), as people compare it.
func Fingerprint(der []byte) string {
	sum := sha256.Sum256(der)
	return hex.EncodeToString(sum[:])
}

// FingerprintOf is that of the first certificate of a PEM file.
func FingerprintOf(file []byte) (string, error) {
	block, _ := pem.Decode(file)
	if block == nil || block.Type != "CERTIFICATE" {
		return "", errors.New("this is no certificate (PEM)")
	}
	return Fingerprint(block.Bytes), nil
}
