package main

import (
	"context"
	"flag"
	"fmt"
	"maps"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/protobuf/proto"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/store/db"
)

// soakFor makes a long run of TestSoak: go test ./cmd/stillroom -run TestSoak -v -timeout 2h -soak 30m
var soakFor = flag.Duration("soak", 5*time.Second, "how long TestSoak lasts")

const soakers = 4

// latencies are how long calls took, by kind.
type latencies map[string][]time.Duration

func (l latencies) add(kind string, begun time.Time) { l[kind] = append(l[kind], time.Since(begun)) }

// at is the latency below which the given share of calls stays.
func (l latencies) at(kind string, share float64) time.Duration {
	sorted := slices.Sorted(slices.Values(l[kind]))
	return sorted[min(len(sorted)-1, int(share*float64(len(sorted))))]
}

// soaker is a visitor who moves on to a new kitchen now and then, so that what it works
// on stays of one size, and who turn by turn runs the statements of some calls by bare pgx.
type soaker struct {
	*visitor
	conn      *grpc.ClientConn
	bare      *pgxpool.Pool
	kitchenID uuid.UUID
	took      latencies
	bareTook  latencies
}

const errandsOfAKitchen = 600

func (s *soaker) work(ctx context.Context, id int) error {
	for n := 0; ctx.Err() == nil; n++ {
		if n%errandsOfAKitchen == 0 {
			kitchen := fmt.Sprintf("kitchens/soak-%d-%d", id, n/errandsOfAKitchen)
			if err := furnish(context.WithoutCancel(ctx), s.conn, kitchen); err != nil {
				return err
			}
			s.visitor = newVisitor(id*1_000_000+n, &limited{kitchen: kitchen})
			if err := s.bare.QueryRow(context.WithoutCancel(ctx), `SELECT id FROM kitchens WHERE slug = $1`, strings.TrimPrefix(kitchen, "kitchens/")).Scan(&s.kitchenID); err != nil {
				return err
			}
		}
		e := s.next()
		if enrol, ok := e.request.(*stillroomv1.CreateEnrolmentRequest); ok && s.limited.count.Load()%peopleToLimited <= 1 {
			open := s.openClass(strings.TrimPrefix(enrol.GetParent(), s.kitchen+"/classes/"), placesInLimited)
			_ = open.run(context.WithoutCancel(ctx), s.conn) // it may be there already
		}
		begun := time.Now()
		if err := e.run(context.WithoutCancel(ctx), s.conn); err != nil {
			return fmt.Errorf("%s: %w\n%v", e.kind, err, e.request)
		}
		s.took.add(e.kind, begun)
		s.back(e)
		begun = time.Now()
		if ran, err := s.statements(context.WithoutCancel(ctx), e); err != nil {
			return err
		} else if ran {
			s.bareTook.add(e.kind, begun)
		}
	}
	return nil
}

// statements runs by bare pgx what an errand of some kinds has run.
func (s *soaker) statements(ctx context.Context, e *errand) (bool, error) {
	slug := s.class[strings.LastIndexByte(s.class, '/')+1:]
	switch e.kind {
	case "participant":
		wire, err := proto.Marshal(e.reply)
		if err != nil {
			return false, err
		}
		return true, pgx.BeginFunc(ctx, s.bare, func(tx pgx.Tx) error {
			q := db.New(tx)
			request, person := uuid.New(), uuid.Must(uuid.NewV7())
			if _, err := q.InsertRequest(ctx, db.InsertRequestParams{KitchenID: s.kitchenID, RequestID: request, Method: "bare", Fingerprint: wire[:min(32, len(wire))]}); err != nil {
				return err
			}
			if _, err := q.InsertParticipant(ctx, db.InsertParticipantParams{KitchenID: s.kitchenID, ID: person, Slug: person.String(), DisplayName: "Somebody"}); err != nil {
				return err
			}
			if err := q.FinishRequest(ctx, db.FinishRequestParams{KitchenID: s.kitchenID, RequestID: request, Response: wire}); err != nil {
				return err
			}
			return q.InsertAuditEntry(ctx, db.InsertAuditEntryParams{KitchenID: s.kitchenID, ID: uuid.Must(uuid.NewV7()), At: time.Now(),
				Caller: "operator", Role: "operator", Method: "bare", Resource: s.kitchen, RequestID: request.String()})
		})
	case "look at the class":
		return true, pgx.BeginFunc(ctx, s.bare, func(tx pgx.Tx) error {
			_, err := db.New(tx).GetClass(ctx, db.GetClassParams{KitchenID: s.kitchenID, Slug: slug})
			return err
		})
	case "look at the roster":
		return true, pgx.BeginFunc(ctx, s.bare, func(tx pgx.Tx) error {
			_, err := db.New(tx).ListEnrolments(ctx, db.ListEnrolmentsParams{KitchenID: s.kitchenID, ClassSlug: slug, AfterRank: -1, LastRank: 1, Size: 51})
			return err
		})
	}
	return false, nil
}

// samples are one measure of the server over time.
type samples struct {
	at     []float64 // seconds
	values []float64
}

func (s *samples) add(at time.Duration, v float64) {
	s.at, s.values = append(s.at, at.Seconds()), append(s.values, v)
}

// settled is the samples after the first quarter, when pools and caches have filled.
func (s *samples) settled() *samples {
	from := len(s.at) / 4
	return &samples{s.at[from:], s.values[from:]}
}

func (s *samples) mean() (sum float64) {
	for _, v := range s.values {
		sum += v
	}
	return sum / float64(len(s.values))
}

// trend is the slope of the least-squares line, by the hour.
func (s *samples) trend() float64 {
	var at, v, up, down float64
	n := float64(len(s.at))
	for i := range s.at {
		at, v = at+s.at[i]/n, v+s.values[i]/n
	}
	for i := range s.at {
		up += (s.at[i] - at) * (s.values[i] - v)
		down += (s.at[i] - at) * (s.at[i] - at)
	}
	if down == 0 {
		return 0
	}
	return up / down * 3600
}

// TestSoak: mixed traffic for a while; calls do not fail, and the server's memory and
// goroutines stay level.
func TestSoak(t *testing.T) {
	pg, _ := durable(t)
	url, err := pg.Database(t.Context(), "soak")
	require.NoError(t, err)
	// All the load comes from one address, which is one caller.
	p, admin := startWithAdmin(t, "--database", url, "--caller-rate", "0")
	bare, err := pgxpool.New(t.Context(), url)
	require.NoError(t, err)
	defer bare.Close()

	ctx, enough := context.WithTimeout(t.Context(), *soakFor)
	defer enough()
	all := make([]*soaker, soakers)
	errs := make([]error, soakers)
	var working sync.WaitGroup
	begun := time.Now()
	for i := range all {
		conn, err := grpc.NewClient(p.address, grpc.WithTransportCredentials(insecure.NewCredentials()))
		require.NoError(t, err)
		defer func() { _ = conn.Close() }()
		all[i] = &soaker{conn: conn, bare: bare, took: latencies{}, bareTook: latencies{}}
		working.Go(func() {
			if errs[i] = all[i].work(ctx, i); errs[i] != nil {
				enough()
			}
		})
	}
	measures := []string{"go_goroutines", "process_resident_memory_bytes", "go_memstats_heap_inuse_bytes", "process_open_fds"}
	seen := map[string]*samples{}
	every := time.NewTicker(max(200*time.Millisecond, *soakFor/400))
	defer every.Stop()
	for sampling := true; sampling; {
		select {
		case <-ctx.Done():
			sampling = false
		case <-every.C:
			families := scrape(t, admin)
			for _, m := range measures {
				if seen[m] == nil {
					seen[m] = &samples{}
				}
				seen[m].add(time.Since(begun), value(t, families, m))
			}
		}
	}
	working.Wait()
	lasted := time.Since(begun)
	for _, err := range errs {
		require.NoError(t, err)
	}

	took, bareTook := latencies{}, latencies{}
	total := 0
	for _, s := range all {
		for kind, list := range s.took {
			took[kind] = append(took[kind], list...)
			total += len(list)
		}
		for kind, list := range s.bareTook {
			bareTook[kind] = append(bareTook[kind], list...)
		}
	}
	t.Logf("%d calls by %d callers in %s, %.0f a second, on %d processors shared with callers and Postgres %s", total, soakers, lasted.Round(time.Second),
		float64(total)/lasted.Seconds(), runtime.GOMAXPROCS(0), pg.Version())
	for _, kind := range slices.Sorted(maps.Keys(took)) {
		line := fmt.Sprintf("%-18s %7d calls %6.1f/s  p50 %8s  p99 %8s", kind, len(took[kind]), float64(len(took[kind]))/lasted.Seconds(), short(took.at(kind, 0.5)), short(took.at(kind, 0.99)))
		if len(bareTook[kind]) > 0 {
			p50, p99 := bareTook.at(kind, 0.5), bareTook.at(kind, 0.99)
			line += fmt.Sprintf("   bare pgx: p50 %8s  p99 %8s   ratio %.2f, %.2f", short(p50), short(p99), float64(took.at(kind, 0.5))/float64(p50), float64(took.at(kind, 0.99))/float64(p99))
		}
		t.Log(line)
	}
	for _, m := range measures {
		s := seen[m].settled()
		t.Logf("%-30s mean %12.0f, trend %+.0f an hour (%+.1f %% of the mean over this run)", m, s.mean(), s.trend(), 100*s.trend()*lasted.Hours()/s.mean())
		if *soakFor >= 10*time.Minute && m != "go_memstats_heap_inuse_bytes" { // the heap goes up and down with collections
			require.Less(t, s.trend()*lasted.Hours()/s.mean(), 0.1, "%s grows", m)
		}
	}
	require.Greater(t, total, 10)
	p.stop()
}

func short(d time.Duration) string { return d.Round(10 * time.Microsecond).String() }
