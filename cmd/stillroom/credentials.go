package main

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"

	"stillroom/internal/access"
	"stillroom/internal/identity"
	"stillroom/internal/localpg"
)

// Environment variables for what lets callers in.
const (
	tokenVariable    = "STILLROOM_TOKEN"
	operatorVariable = "STILLROOM_OPERATOR_TOKEN"
)

// operatorFile is the file in the data folder that holds the operator's token.
const operatorFile = "operator-token"

// shortestSecret keeps a guessable operator's token out.
const shortestSecret = 32

// operatorSecret is the operator's token: from the environment, else from the data
// folder, where the first start makes it.
func operatorSecret(data string) (secret, from string, err error) {
	if secret := os.Getenv(operatorVariable); secret != "" {
		if len(secret) < shortestSecret {
			return "", "", fmt.Errorf("$%s has %d characters; give at least %d random ones", operatorVariable, len(secret), shortestSecret)
		}
		return secret, "$" + operatorVariable, nil
	}
	if data == "" {
		if data, err = localpg.DefaultFolder(); err != nil {
			return "", "", err
		}
	}
	path := filepath.Join(data, operatorFile)
	text, err := os.ReadFile(path)
	if err == nil {
		return strings.TrimSpace(string(text)), path, nil
	}
	if !errors.Is(err, fs.ErrNotExist) {
		return "", "", fmt.Errorf("reading the operator's token: %w", err)
	}
	if err := os.MkdirAll(data, 0o755); err != nil {
		return "", "", fmt.Errorf("no place to keep the operator's token in (%w); set $%s", err, operatorVariable)
	}
	secret = access.NewSecret()
	if err := os.WriteFile(path, []byte(secret+"\n"), 0o600); err != nil {
		return "", "", fmt.Errorf("keeping the operator's token: %w; set $%s", err, operatorVariable)
	}
	return secret, path, nil
}

// identityProviders reads the file of identity providers; nil when there is none.
func (o serverOptions) identityProviders() (*identity.Verifier, error) {
	if o.identity == "" {
		return nil, nil
	}
	if o.open {
		return nil, errors.New("--identity and --open exclude each other: an open server asks nobody who they are")
	}
	f, err := os.Open(o.identity)
	if err != nil {
		return nil, fmt.Errorf("--identity: %w", err)
	}
	defer func() { _ = f.Close() }()
	providers, err := identity.Read(f)
	if err != nil {
		return nil, fmt.Errorf("--identity %s: %w", o.identity, err)
	}
	now := o.now
	if now == nil {
		now = time.Now
	}
	log := o.log
	if log == nil {
		log = slog.Default()
	}
	return identity.New(providers, log, now), nil
}

// callerSecret is the token that commands send: from the environment, else, to a
// server on this machine only, the operator's, when its file can be read. Empty for none.
func callerSecret(server string) string {
	if secret := os.Getenv(tokenVariable); secret != "" {
		return secret
	}
	if !onLoopback(server) {
		return ""
	}
	folder, err := localpg.DefaultFolder()
	if err != nil {
		return ""
	}
	text, err := os.ReadFile(filepath.Join(folder, operatorFile))
	if err != nil {
		return ""
	}
	return strings.TrimSpace(string(text))
}

// bearer sends a token with every call. Over plain text it does so only when allowed.
type bearer struct {
	secret string
	plain  bool
}

func (b bearer) GetRequestMetadata(context.Context, ...string) (map[string]string, error) {
	return map[string]string{"authorization": "Bearer " + b.secret}, nil
}

func (b bearer) RequireTransportSecurity() bool { return !b.plain }

// onLoopback says whether an address can be reached from its own machine only.
func onLoopback(address string) bool {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return false
	}
	if host == "localhost" {
		return true
	}
	ip := net.ParseIP(host)
	return ip != nil && ip.IsLoopback()
}

// clientTransport is how commands reach the server: TLS when asked for, plain text
// on loopback or when asked for by name.
func (s *session) clientTransport() (credentials.TransportCredentials, error) {
	if !s.tls && s.caFile == "" {
		if !onLoopback(s.server) && !s.plaintext {
			return nil, fmt.Errorf("--server %q is on another machine: give --tls, or --plaintext to send everything unencrypted", s.server)
		}
		return insecure.NewCredentials(), nil
	}
	config := &tls.Config{MinVersion: tls.VersionTLS12}
	if s.caFile != "" {
		pem, err := os.ReadFile(s.caFile)
		if err != nil {
			return nil, fmt.Errorf("--ca: %w", err)
		}
		config.RootCAs = x509.NewCertPool()
		if !config.RootCAs.AppendCertsFromPEM(pem) {
			return nil, fmt.Errorf("--ca %s holds no certificate", s.caFile)
		}
	}
	return credentials.NewTLS(config), nil
}

// certificate is a key pair in files, read again when they change, so that a renewed
// certificate is served without a restart.
type certificate struct {
	certFile, keyFile string

	mu     sync.Mutex
	loaded *tls.Certificate
	// stamp is the files' times when they were read, and checked when that was last compared.
	stamp, checked time.Time
}

// recheck is how often the files' times are looked at.
const recheck = time.Second

// serverTLS reads the key pair once, so that a broken one is told at the start.
func serverTLS(certFile, keyFile, clientCAFile string) (*tls.Config, error) {
	c := &certificate{certFile: certFile, keyFile: keyFile}
	if _, err := c.get(nil); err != nil {
		return nil, err
	}
	config := &tls.Config{MinVersion: tls.VersionTLS12, GetCertificate: c.get}
	if clientCAFile != "" {
		pem, err := os.ReadFile(clientCAFile)
		if err != nil {
			return nil, fmt.Errorf("--tls-client-ca: %w", err)
		}
		config.ClientCAs = x509.NewCertPool()
		if !config.ClientCAs.AppendCertsFromPEM(pem) {
			return nil, fmt.Errorf("--tls-client-ca %s holds no certificate", clientCAFile)
		}
		config.ClientAuth = tls.RequireAndVerifyClientCert
	}
	return config, nil
}

func (c *certificate) get(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	now := time.Now()
	if c.loaded != nil && now.Sub(c.checked) < recheck {
		return c.loaded, nil
	}
	c.checked = now
	stamp, err := newest(c.certFile, c.keyFile)
	if err == nil && c.loaded != nil && stamp.Equal(c.stamp) {
		return c.loaded, nil
	}
	var pair tls.Certificate
	if err == nil {
		pair, err = tls.LoadX509KeyPair(c.certFile, c.keyFile)
	}
	if err != nil {
		if c.loaded != nil {
			return c.loaded, nil // half-written files: go on with what there was
		}
		return nil, fmt.Errorf("--tls-cert and --tls-key: %w", err)
	}
	c.loaded, c.stamp = &pair, stamp
	return c.loaded, nil
}

// newest is the latest modification time of the files.
func newest(files ...string) (time.Time, error) {
	var latest time.Time
	for _, f := range files {
		info, err := os.Stat(f)
		if err != nil {
			return time.Time{}, err
		}
		if info.ModTime().After(latest) {
			latest = info.ModTime()
		}
	}
	return latest, nil
}
