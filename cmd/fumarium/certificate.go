package main

import (
	"crypto/tls"
	"fmt"

	"github.com/spf13/pflag"

	"fumarium/controller/access/certificate"
)

// secured are the files of the certificate that the operator brings.
type secured struct{ cert, key string }

func (c *secured) flags(f *pflag.FlagSet) {
	f.StringVar(&c.cert, "tls-cert", "", "`FILE` with your certificate and its chain (PEM): page and API then speak HTTPS only")
	f.StringVar(&c.key, "tls-key", "", "`FILE` with the private key of --tls-cert (PEM)")
}

// config is nil where no certificate is named.
func (c *secured) config() (*tls.Config, error) {
	switch {
	case c == nil || c.cert == "" && c.key == "":
		return nil, nil
	case c.cert == "" || c.key == "":
		return nil, usage("--tls-cert and --tls-key go together")
	}
	config, err := certificate.Config(c.cert, c.key)
	if err != nil {
		return nil, couldNot(fmt.Errorf("--tls-cert: %w", err))
	}
	return config, nil
}
