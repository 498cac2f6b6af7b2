package main

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"io"
	"math/big"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stillroom/internal/store/storetest"
)

var pagesOn = regexp.MustCompile(`its pages are on (\S+)`)

// pages is the address of the pages that a started program told.
func (p *program) pages() string {
	p.t.Helper()
	line, err := p.out.ReadString('\n')
	require.NoError(p.t, err)
	found := pagesOn.FindStringSubmatch(line)
	require.NotNil(p.t, found, "serve said %q", line)
	return found[1]
}

// look gets a page and says what it answers.
func look(t *testing.T, c *http.Client, address string) (int, string) {
	t.Helper()
	reply, err := c.Get(address)
	require.NoError(t, err)
	text, err := io.ReadAll(reply.Body)
	require.NoError(t, err)
	require.NoError(t, reply.Body.Close())
	return reply.StatusCode, string(text)
}

// An open server shows its pages to its own machine, by a name that only that has.
func TestOpenPages(t *testing.T) {
	t.Parallel()
	p := startProgram(t, "--web", "127.0.0.1:0", "--database", storetest.URL(t))
	at := p.pages()
	p.run("kitchen", "create", "high-meadow", "--name", "High Meadow", "--currency", "USD")
	c := &http.Client{}
	code, text := look(t, c, at)
	require.Equal(t, http.StatusOK, code)
	require.Contains(t, text, "High Meadow")

	req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, at, nil)
	require.NoError(t, err)
	req.Host = "elsewhere.example"
	reply, err := c.Do(req)
	require.NoError(t, err)
	require.NoError(t, reply.Body.Close())
	require.Equal(t, http.StatusForbidden, reply.StatusCode, "another name for this machine")
	c.CloseIdleConnections()
	p.stop()
}

// Under TLS the pages are encrypted too, and their cookie is for encrypted ways only; where
// callers must show a certificate, visitors must.
func TestEncryptedPages(t *testing.T) {
	t.Parallel()
	ours := newAuthority(t)
	cert, key := filepath.Join(t.TempDir(), "cert.pem"), filepath.Join(t.TempDir(), "key.pem")
	ours.issue(cert, key, time.Now().Add(time.Hour))
	data := t.TempDir()
	p := startProgram(t, "--open=false", "--web", "127.0.0.1:0", "--database", storetest.URL(t), "--data", data,
		"--tls-cert", cert, "--tls-key", key, "--tls-client-ca", ours.file)
	at := p.pages()
	require.True(t, strings.HasPrefix(at, "https://"), at)
	roots := x509.NewCertPool()
	roots.AddCert(ours.cert)

	stranger := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: roots}}}
	_, err := stranger.Get(at) //nolint:bodyclose // there is none
	require.Error(t, err, "a visitor without a certificate")

	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	transport := &http.Transport{TLSClientConfig: &tls.Config{RootCAs: roots, Certificates: []tls.Certificate{ours.person()}}, ForceAttemptHTTP2: true}
	c := &http.Client{Transport: transport, Jar: jar}
	code, text := look(t, c, at)
	require.Equal(t, http.StatusOK, code)
	require.Contains(t, text, "Your token")
	operator, err := os.ReadFile(filepath.Join(data, operatorFile))
	require.NoError(t, err)
	reply, err := c.PostForm(at+"/sign-in", url.Values{"token": {strings.TrimSpace(string(operator))}})
	require.NoError(t, err)
	require.NoError(t, reply.Body.Close())
	require.Equal(t, http.StatusOK, reply.StatusCode)
	require.Equal(t, "/", reply.Request.URL.Path)
	require.Equal(t, "HTTP/2.0", reply.Proto)
	cookies := reply.Request.Response.Cookies()
	require.Len(t, cookies, 1)
	require.Equal(t, "__Host-stillroom-session", cookies[0].Name)
	require.True(t, cookies[0].Secure && cookies[0].HttpOnly)
	transport.CloseIdleConnections()
	p.stop()
}

// person is a certificate to show to a server.
func (a *authority) person() tls.Certificate {
	a.t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(a.t, err)
	template := &x509.Certificate{
		SerialNumber: big.NewInt(time.Now().UnixNano()), Subject: pkix.Name{CommonName: "a visitor"}, NotBefore: time.Now().Add(-time.Hour),
		NotAfter: time.Now().Add(time.Hour), ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageClientAuth},
	}
	der, err := x509.CreateCertificate(rand.Reader, template, a.cert, key.Public(), a.key)
	require.NoError(a.t, err)
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}
}

// Plain pages are for this machine, unless asked for by name; a name for the pages is a whole address.
func TestPagesRefuse(t *testing.T) {
	t.Parallel()
	for want, args := range map[string][]string{
		"--web 0.0.0.0:0 can be reached from other machines": {"--web", "0.0.0.0:0"},
		"--open goes with a loopback address only":           {"--open", "--plaintext", "--web", "0.0.0.0:0"},
	} {
		out, err := exec.Command(binary, append([]string{"serve", "--listen", "127.0.0.1:0", "--database", "postgres://nowhere"}, args...)...).CombinedOutput()
		require.Error(t, err)
		require.Contains(t, string(out), want)
	}
	for _, address := range []string{"stillroom.example", "ftp://stillroom.example", "https://", "https://a@stillroom.example", "https://stillroom.example/below", "https://stillroom.example?a=b"} {
		_, err := publicAddress(address)
		require.ErrorContains(t, err, "write it as https://stillroom.example", address)
	}
}

// An invitation is shown as a link once the address of the pages is known, and the link lets in.
func TestInvitationLink(t *testing.T) {
	t.Parallel()
	data := t.TempDir()
	p := startProgram(t, "--open=false", "--web", "127.0.0.1:0", "--database", storetest.URL(t), "--data", data)
	at := p.pages()
	operator, err := os.ReadFile(filepath.Join(data, operatorFile))
	require.NoError(t, err)
	must := func(args ...string) string {
		t.Helper()
		said, err := p.as(strings.TrimSpace(string(operator)), args...)
		require.NoError(t, err, said)
		return said
	}
	must("kitchen", "create", "high-meadow", "--currency", "USD")
	must("site", "create", "hall", "--altitude", "1600 m", "--zone", "UTC")
	must("class", "create", "relish", "--site", "hall", "--start", "2027-08-21 09:00", "--length", "4h", "--places", "2")
	must("participant", "create", "Ana", "--id", "ana")
	link := regexp.MustCompile(`http://\S+/join/\S+`).FindString(must("token", "invite", "relish", "Ana", "--web-address", at))
	require.NotEmpty(t, link)
	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	c := &http.Client{Jar: jar, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	code, _ := look(t, c, link)
	require.Equal(t, http.StatusSeeOther, code)
	home, err := url.Parse(at)
	require.NoError(t, err)
	require.Len(t, jar.Cookies(home), 1)
	c.CloseIdleConnections()
	p.stop()
}

// An open server takes whoever shows nothing for the operator, and whoever shows an invitation for its participant, as
// the demonstration invites one to see. An invitation that is over is forgotten.
func TestAnOpenServerKnowsAnInvitation(t *testing.T) {
	t.Parallel()
	p := startProgram(t, "--web", "127.0.0.1:0", "--database", storetest.URL(t))
	at := p.pages()
	p.run("kitchen", "create", "high-meadow", "--currency", "USD")
	p.run("site", "create", "hall", "--altitude", "1600 m", "--zone", "UTC")
	p.run("class", "create", "relish", "--site", "hall", "--start", "2027-08-21 09:00", "--length", "4h", "--places", "2")
	p.run("participant", "create", "Ana", "--id", "ana")
	p.run("roster", "enrol", "relish", "Ana")
	invited := p.run("token", "invite", "relish", "Ana", "--id", "of-ana", "--web-address", at)
	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	c := &http.Client{Jar: jar}
	code, body := look(t, c, linkInOutput.FindString(invited))
	require.Equal(t, http.StatusOK, code)
	require.Contains(t, body, "Your place")
	code, _ = look(t, c, at+"/kitchens/high-meadow/classes/relish/questions")
	require.Equal(t, http.StatusForbidden, code, "it is a page of those who run the class")
	p.run("token", "revoke", "of-ana")
	_, body = look(t, c, at+"/my")
	require.Contains(t, body, "instructor", "whom to ask")
	code, _ = look(t, c, at+"/kitchens/high-meadow/classes/relish/questions")
	require.Equal(t, http.StatusOK, code, "without it the server is open as before")
	c.CloseIdleConnections()
	p.stop()
}
