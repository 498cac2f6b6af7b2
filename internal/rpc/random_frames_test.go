package rpc

import (
	"log/slog"
	"maps"
	"math/rand/v2"
	"net"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/store/storetest"
)

// framesVariable makes a long run of TestRandomFrames: how many connections.
const framesVariable = "STILLROOM_RANDOM_FRAMES"

// TestRandomFrames opens connections that speak HTTP/2 or gRPC badly. The server lives on:
// a proper caller is served all along, no handler errs, and no goroutine or connection
// stays behind. A call whose message cannot be read fails with INVALID_ARGUMENT; INTERNAL
// comes only from the library, for frames that the protocol says it of.
func TestRandomFrames(t *testing.T) {
	count, seed := number(t, framesVariable, 200), uint64(number(t, seedVariable, 1))
	st := storetest.Open(t)
	log := &errorLines{}
	require.NoError(t, st.Ping(t.Context()))
	before := runtime.NumGoroutine()
	srv, err := NewServer(Options{Store: st, Log: slog.New(log), Now: func() time.Time { return testNow }, Open: true})
	require.NoError(t, err)
	listener := &countingListener{}
	listener.Listener, err = net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	go func() { _ = srv.Serve(listener) }()
	proper := func() {
		conn, err := grpc.NewClient(listener.Addr().String(), grpc.WithTransportCredentials(insecure.NewCredentials()))
		require.NoError(t, err)
		_, err = stillroomv1.NewProcessServiceClient(conn).ListProducts(t.Context(), &stillroomv1.ListProductsRequest{PageSize: 1})
		require.NoError(t, err, "a proper caller")
		require.NoError(t, conn.Close())
	}
	m := &maker{Rand: rand.New(rand.NewPCG(seed, 0))}
	outcomes := map[string]int{}
	begun := time.Now()
	for i := range count {
		attack := attacks[i%len(attacks)]
		conn, err := net.Dial("tcp", listener.Addr().String())
		require.NoError(t, err)
		require.NoError(t, conn.SetDeadline(time.Now().Add(20*time.Second)))
		outcome := attack.on(m, conn.(*net.TCPConn))
		require.NoError(t, conn.Close())
		outcomes[attack.name+": "+outcome]++
		if strings.HasPrefix(outcome, codes.Internal.String()) {
			require.True(t, attack.internal, "%s: %s", attack.name, outcome)
		}
		require.NotContains(t, outcome, codes.Unknown.String(), attack.name)
		if attack.want != codes.OK {
			require.Contains(t, outcome, attack.want.String(), attack.name)
		}
		if i%25 == 0 {
			proper()
		}
	}
	proper()
	for _, line := range slices.Sorted(maps.Keys(outcomes)) {
		t.Logf("%5d  %s", outcomes[line], line)
	}
	t.Logf("%d connections, seed %d, in %s", count, seed, time.Since(begun).Round(time.Millisecond))
	await(t, func() bool { return listener.open.Load() == 0 }, "connections of callers are still open")
	await(t, func() bool { return st.Pool().Stat().AcquiredConns() == 0 }, "connections to the database are still taken")
	srv.Stop()
	require.Empty(t, log.all(), "the server logged errors")
	await(t, func() bool { return runtime.NumGoroutine() <= before }, "goroutines stay behind: %s", stacks{})
}
