package main

import (
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	toxiproxy "github.com/Shopify/toxiproxy/v2"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/rs/zerolog"
	"github.com/stretchr/testify/require"

	"stillroom/internal/localpg"
)

// frail is a server, its Postgres, and the links between them and the callers, all of
// which can be broken and mended.
type frail struct {
	t        *testing.T
	options  localpg.Options
	postgres *localpg.Server
	program  *program
	// toDatabase and toServer are links that a proxy keeps.
	toDatabase, toServer *toxiproxy.Proxy
	url                  string
	pick                 *rand.Rand
}

// newFrail starts everything, whole.
func newFrail(t *testing.T) *frail {
	t.Helper()
	if os.Getenv(localpg.URLVariable) != "" {
		t.Skipf("%s is set; a Postgres that is given is not killed", localpg.URLVariable)
	}
	f := &frail{t: t, pick: rand.New(rand.NewPCG(1, 1))}
	f.postgres, f.options = durable(t)
	t.Cleanup(func() { _ = f.postgres.Stop() }) // the one that is there in the end
	direct, err := f.postgres.Database(t.Context(), "frail")
	require.NoError(t, err)

	// A private Postgres listens on a Unix socket, the proxy speaks TCP.
	u, err := url.Parse(direct)
	require.NoError(t, err)
	bridge := bridgeTo(t, filepath.Join(u.Query().Get("host"), ".s.PGSQL.5432"))
	proxies := toxiproxy.NewServer(toxiproxy.NewMetricsContainer(prometheus.NewRegistry()), zerolog.Nop())
	f.toDatabase = toxiproxy.NewProxy(proxies, "database", "127.0.0.1:0", bridge)
	require.NoError(t, f.toDatabase.Start())
	t.Cleanup(f.toDatabase.Stop)
	u.Host, u.RawQuery = f.toDatabase.Listen, "sslmode=disable"
	f.url = u.String()

	// All callers come from one address, which is one caller.
	f.program = startProgram(t, "--database", f.url, "--caller-rate", "0")
	f.toServer = toxiproxy.NewProxy(proxies, "server", "127.0.0.1:0", f.program.address)
	require.NoError(t, f.toServer.Start())
	t.Cleanup(f.toServer.Stop)
	return f
}

// durable is a Postgres of the test's own that keeps what it is given, as a kitchen's does.
func durable(t *testing.T) (*localpg.Server, localpg.Options) {
	t.Helper()
	folder, err := os.MkdirTemp("", "stillroom-durable-") // t.TempDir may lie where Postgres's user cannot go
	require.NoError(t, err)
	t.Cleanup(func() { _ = os.RemoveAll(folder) })
	require.NoError(t, os.Chmod(folder, 0o755)) //nolint:gosec // Postgres's user must be able to enter it.
	options := localpg.Options{Folder: filepath.Join(folder, "data")}
	pg, err := localpg.Start(t.Context(), options)
	require.NoError(t, err)
	t.Cleanup(func() { _ = pg.Stop() })
	return pg, options
}

// bridgeTo forwards connections of a TCP address to a Unix socket.
func bridgeTo(t *testing.T, socket string) string {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	t.Cleanup(func() { _ = listener.Close() })
	go func() {
		for {
			from, err := listener.Accept()
			if err != nil {
				return
			}
			to, err := net.Dial("unix", socket)
			if err != nil {
				_ = from.Close()
				continue
			}
			pass := func(a, b net.Conn) { _, _ = io.Copy(a, b); _ = a.Close(); _ = b.Close() }
			go pass(from, to)
			go pass(to, from)
		}
	}()
	return listener.Addr().String()
}

// fault is a way to break something. on breaks it and returns how to mend it; mending
// returns the moment from which things can work again.
type faultOf struct {
	name string
	on   func(f *frail) (mend func() time.Time)
}

var faultsOf = []faultOf{
	{"server killed (SIGKILL)", func(f *frail) func() time.Time {
		require.NoError(f.t, f.program.serve.Process.Signal(syscall.SIGKILL))
		_ = f.program.serve.Wait()
		return func() time.Time {
			begun := time.Now() // so its start counts
			f.program = startProgram(f.t, "--database", f.url, "--listen", f.program.address, "--caller-rate", "0")
			return begun
		}
	}},
	{"Postgres stopped (immediate)", func(f *frail) func() time.Time {
		// PostgreSQL documentation, "Shutting Down the Server": SIGQUIT is immediate shutdown mode.
		require.NoError(f.t, syscall.Kill(f.postgres.PID(), syscall.SIGQUIT))
		<-f.postgres.Done()
		require.NoError(f.t, f.postgres.Stop())
		return func() time.Time {
			var err error
			f.postgres, err = localpg.Start(f.t.Context(), f.options) // its own recovery included
			require.NoError(f.t, err)
			return time.Now()
		}
	}},
	{"callers' link cut", func(f *frail) func() time.Time { return f.cut(f.toServer) }},
	{"database's link cut", func(f *frail) func() time.Time { return f.cut(f.toDatabase) }},
	{"callers' link slow", func(f *frail) func() time.Time { return f.spoil(f.toServer, slow) }},
	{"database's link slow", func(f *frail) func() time.Time { return f.spoil(f.toDatabase, slow) }},
	{"callers' link silent", func(f *frail) func() time.Time { return f.spoil(f.toServer, silent) }},
	{"database's link silent", func(f *frail) func() time.Time { return f.spoil(f.toDatabase, silent) }},
	{"callers' connections reset", func(f *frail) func() time.Time { return f.spoil(f.toServer, reset) }},
	{"database's connections reset", func(f *frail) func() time.Time { return f.spoil(f.toDatabase, reset) }},
}

// Ways in which a link is bad, as toxiproxy calls them.
const (
	slow   = `{"type":"latency","attributes":{"latency":150,"jitter":100}}`
	silent = `{"type":"timeout","attributes":{"timeout":0}}`
	reset  = `{"type":"reset_peer","attributes":{"timeout":20}}`
)

func (f *frail) cut(link *toxiproxy.Proxy) func() time.Time {
	link.Stop()
	return func() time.Time {
		require.NoError(f.t, link.Start())
		return time.Now()
	}
}

func (f *frail) spoil(link *toxiproxy.Proxy, toxic string) func() time.Time {
	var names []string
	for _, stream := range []string{"upstream", "downstream"} {
		name := stream + "-toxic"
		_, err := link.Toxics.AddToxicJson(strings.NewReader(fmt.Sprintf(`{"name":%q,"stream":%q,"toxicity":1,%s`, name, stream, toxic[1:])))
		require.NoError(f.t, err)
		names = append(names, name)
	}
	return func() time.Time {
		for _, name := range names {
			require.NoError(f.t, link.Toxics.RemoveToxic(f.t.Context(), name))
		}
		return time.Now()
	}
}
