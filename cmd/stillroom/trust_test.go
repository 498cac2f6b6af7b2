package main

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stillroom/internal/store/storetest"
)

// as runs a command with a token, or with none, and says how it ended.
func (p *program) as(secret string, args ...string) (string, error) {
	p.t.Helper()
	cmd := exec.Command(binary, append(args, "--server", p.address, "--kitchen", p.kitchen)...)
	cmd.Env = append(os.Environ(), tokenVariable+"="+secret, "STILLROOM_DATA="+p.t.TempDir())
	var both bytes.Buffer
	cmd.Stdout, cmd.Stderr = &both, &both
	err := cmd.Run()
	return both.String(), err
}

var shownSecret = regexp.MustCompile(`stillroom_[A-Za-z0-9_-]{43}`)

// TestTokensLetPeopleIn: the first start makes an operator's token; with it an owner's
// is made, with that an instructor's and an invitation, and each may do its part.
func TestTokensLetPeopleIn(t *testing.T) {
	t.Parallel()
	data := t.TempDir()
	p := startProgram(t, "--open=false", "--database", storetest.URL(t), "--data", data)
	text, err := os.ReadFile(filepath.Join(data, operatorFile))
	require.NoError(t, err)
	operator := shownSecret.FindString(string(text))
	require.NotEmpty(t, operator)
	info, err := os.Stat(filepath.Join(data, operatorFile))
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm())

	said, err := p.as("", "kitchen", "list")
	require.Error(t, err)
	require.Contains(t, said, "the call has no token")
	said, err = p.as("stillroom_wrong", "kitchen", "list")
	require.Error(t, err)
	require.Contains(t, said, "not known, has expired or was revoked")
	said, err = p.as("", "health")
	require.NoError(t, err, "anybody may ask whether the server serves: %s", said)

	must := func(secret string, args ...string) string {
		t.Helper()
		said, err := p.as(secret, args...)
		require.NoError(t, err, said)
		return said
	}
	must(operator, "kitchen", "create", "high-meadow", "--currency", "USD")
	owner := shownSecret.FindString(must(operator, "token", "create", "Odile", "--role", "owner", "--id", "odile"))
	require.Equal(t, "owner (Odile) in high-meadow\n", must(owner, "token", "who"))
	instructor := shownSecret.FindString(must(owner, "token", "create", "Ines", "--role", "instructor", "--id", "ines"))
	must(instructor, "site", "create", "hall", "--altitude", "1600 m", "--zone", "UTC")
	must(instructor, "class", "create", "relish", "--site", "hall", "--start", "2027-08-21 09:00", "--length", "4h", "--places", "2")
	must(instructor, "participant", "create", "Ana", "--id", "ana", "--allergies", "celery")
	said, err = p.as(instructor, "token", "create", "Ivo", "--role", "owner")
	require.Error(t, err)
	require.Contains(t, said, "an instructor may not call AccessService/CreateToken")
	said, err = p.as(owner, "kitchen", "list")
	require.Error(t, err, "a kitchen does not see the others: %s", said)

	guest := shownSecret.FindString(must(owner, "token", "invite", "relish", "Ana"))
	require.Contains(t, must(guest, "class", "show", "relish"), "0 of 2 taken")
	said, err = p.as(guest, "participant", "list")
	require.Error(t, err)
	require.Contains(t, said, "a participant may not call RosterService/ListParticipants")

	must(owner, "token", "revoke", "ines")
	said, err = p.as(instructor, "class", "show", "relish")
	require.Error(t, err)
	require.Contains(t, said, "revoked")
	record := must(owner, "record")
	require.Contains(t, record, "tokens/ines")
	require.Contains(t, record, "CreateClass")
	require.NotContains(t, record, owner, "no secret is recorded")
	p.stop()
}

func TestPlainTextStaysAtHome(t *testing.T) {
	t.Parallel()
	for _, args := range [][]string{
		{"serve", "--listen", "0.0.0.0:0", "--database", "postgres://nowhere"},
		{"serve", "--open", "--plaintext", "--listen", "0.0.0.0:0", "--database", "postgres://nowhere"},
		{"kitchen", "list", "--server", "kitchen.example.org:7419"},
	} {
		out, err := exec.Command(binary, args...).CombinedOutput()
		require.Error(t, err)
		require.Regexp(t, "--plaintext|loopback", string(out), args)
	}
}

// authority is a certificate authority of the test's own.
type authority struct {
	t    *testing.T
	cert *x509.Certificate
	key  *ecdsa.PrivateKey
	file string
}

func newAuthority(t *testing.T) *authority {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "test authority"}, NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, key.Public(), key)
	require.NoError(t, err)
	cert, err := x509.ParseCertificate(der)
	require.NoError(t, err)
	a := &authority{t: t, cert: cert, key: key, file: filepath.Join(t.TempDir(), "ca.pem")}
	writePEM(t, a.file, "CERTIFICATE", der)
	return a
}

// issue writes a server certificate for 127.0.0.1 that works until the given time.
func (a *authority) issue(certFile, keyFile string, until time.Time) {
	a.t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(a.t, err)
	template := &x509.Certificate{
		SerialNumber: big.NewInt(time.Now().UnixNano()), Subject: pkix.Name{CommonName: "stillroom"}, NotBefore: until.Add(-2 * time.Hour), NotAfter: until,
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
	}
	der, err := x509.CreateCertificate(rand.Reader, template, a.cert, key.Public(), a.key)
	require.NoError(a.t, err)
	keyDER, err := x509.MarshalECPrivateKey(key)
	require.NoError(a.t, err)
	writePEM(a.t, keyFile, "EC PRIVATE KEY", keyDER)
	writePEM(a.t, certFile, "CERTIFICATE", der)
}

func writePEM(t *testing.T, path, kind string, der []byte) {
	t.Helper()
	require.NoError(t, os.WriteFile(path, pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: der}), 0o600))
}

// TestEncryptedServer: a client that trusts another authority is refused, an expired
// certificate too, and a renewed one is served without a restart.
func TestEncryptedServer(t *testing.T) {
	t.Parallel()
	ours, other := newAuthority(t), newAuthority(t)
	cert, key := filepath.Join(t.TempDir(), "cert.pem"), filepath.Join(t.TempDir(), "key.pem")
	ours.issue(cert, key, time.Now().Add(-time.Minute))
	p := startProgram(t, "--database", storetest.URL(t), "--tls-cert", cert, "--tls-key", key)
	ask := func(flags ...string) (string, error) {
		out, err := exec.Command(binary, append([]string{"kitchen", "list", "--server", p.address, "--timeout", "5s"}, flags...)...).CombinedOutput()
		return string(out), err
	}
	said, err := ask("--ca", ours.file)
	require.Error(t, err, "an expired certificate is refused: %s", said)

	ours.issue(cert, key, time.Now().Add(time.Hour))
	require.Eventually(t, func() bool {
		_, err := ask("--ca", ours.file)
		return err == nil
	}, 20*time.Second, 200*time.Millisecond, "a renewed certificate is served without a restart")
	_, err = ask("--ca", other.file)
	require.Error(t, err, "a client that trusts another authority refuses the server")
	_, err = ask()
	require.Error(t, err, "plain text to a server with TLS gets no answer")
	p.stop()
}
