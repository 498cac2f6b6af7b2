package rpc

import (
	"io"
	"log/slog"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/http2"
	"google.golang.org/grpc/keepalive"
	"google.golang.org/grpc/test/bufconn"
)

// rawClient speaks HTTP/2 to a server and answers nothing by itself.
func rawClient(t *testing.T, o Options) *http2.Framer {
	t.Helper()
	o.Open, o.Log = true, slog.New(slog.DiscardHandler)
	srv, err := NewServer(o)
	require.NoError(t, err)
	listener := bufconn.Listen(1 << 20)
	go func() { _ = srv.Serve(listener) }()
	t.Cleanup(srv.Stop)
	conn, err := listener.DialContext(t.Context())
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close() })
	_, err = io.WriteString(conn, http2.ClientPreface)
	require.NoError(t, err)
	framer := http2.NewFramer(conn, conn)
	require.NoError(t, framer.WriteSettings())
	return framer
}

// TestADeadClientIsLetGo: a connection on which nobody answers pings is closed. A second
// is the least that gRPC takes for the time between them.
func TestADeadClientIsLetGo(t *testing.T) {
	t.Parallel()
	client := rawClient(t, Options{keepalive: keepalive.ServerParameters{Time: time.Second, Timeout: 10 * time.Millisecond}})
	asked := false
	for {
		frame, err := client.ReadFrame()
		if err != nil {
			require.True(t, asked, "the server asks before it lets go")
			return
		}
		if ping, ok := frame.(*http2.PingFrame); ok && !ping.IsAck() {
			asked = true
		}
	}
}

// TestAClientMayNotPingWithoutEnd: one that pings far more often than every ten seconds is told to be calm and
// let go (gRPC proposal A8).
func TestAClientMayNotPingWithoutEnd(t *testing.T) {
	t.Parallel()
	client := rawClient(t, Options{})
	for i := range 10 {
		if err := client.WritePing(false, [8]byte{byte(i)}); err != nil {
			break // closed already
		}
	}
	for {
		frame, err := client.ReadFrame()
		require.NoError(t, err, "closed without a word")
		if away, ok := frame.(*http2.GoAwayFrame); ok {
			require.Equal(t, http2.ErrCodeEnhanceYourCalm, away.ErrCode)
			require.Equal(t, "too_many_pings", string(away.DebugData()))
			return
		}
	}
}
