// Package store keeps everything in Postgres.
//
// Open connects and applies the embedded migrations under an advisory lock. Work
// happens in transactions bound to one kitchen: In opens one, methods of Tx take
// part in it, and so they compose. SQL lives in queries/*.sql and is typed by
// sqlc; this package turns rows into the domain's types and database errors into
// faults.
package store

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"sync"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/jackc/pgx/v5/stdlib"
	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/lock"

	"stillroom/internal/fault"
	"stillroom/internal/store/db"
)

//go:embed migrations/*.sql
var migrations embed.FS

// Store is a pool of connections to a migrated database. It is safe for
// concurrent use.
type Store struct {
	pool *pgxpool.Pool
	// role is the database role that transactions run as; empty when it could not be made.
	role string
	// kitchens caches slug to id; a kitchen keeps both for life.
	kitchens sync.Map
}

// Option changes how Open connects.
type Option func(*pgxpool.Config)

// WithTracer has every statement traced.
func WithTracer(t pgx.QueryTracer) Option {
	return func(c *pgxpool.Config) { c.ConnConfig.Tracer = t }
}

// mostToConnect bounds the making of a connection: one to a database that stays silent takes the place of
// another in the pool, whichever call has given up on it.
const mostToConnect = 5 * time.Second

// Open connects to the database at url and brings it to the newest migration.
// Close the store when done.
func Open(ctx context.Context, url string, options ...Option) (*Store, error) {
	config, err := pgxpool.ParseConfig(url)
	if err != nil {
		return nil, fault.New(fault.Invalid, "the database URL cannot be read; give postgres://user@host:port/name").Because(err)
	}
	if limit := &config.ConnConfig.ConnectTimeout; *limit == 0 || *limit > mostToConnect {
		*limit = mostToConnect
	}
	for _, o := range options {
		o(config)
	}
	pool, err := pgxpool.NewWithConfig(ctx, config)
	if err != nil {
		return nil, translate(err)
	}
	if err := migrate(ctx, pool); err != nil {
		pool.Close()
		return nil, err
	}
	s := &Store{pool: pool}
	if err := s.chooseRole(ctx); err != nil {
		pool.Close()
		return nil, translate(err)
	}
	return s, nil
}

// serviceRole is the database role that owns nothing and cannot bypass row-level
// security; see migration 00009.
const serviceRole = "stillroom_service"

// chooseRole finds out whether transactions can run as the service's role. Where an
// administrator made the role, it has its rights only from here on.
func (s *Store) chooseRole(ctx context.Context) error {
	var may, able bool
	err := s.pool.QueryRow(ctx, `SELECT pg_has_role(current_user, oid, 'MEMBER'), has_table_privilege(oid, 'public.kitchens', 'SELECT')
		FROM pg_roles WHERE rolname = $1`, serviceRole).Scan(&may, &able)
	if err != nil && !errors.Is(err, pgx.ErrNoRows) {
		return err
	}
	if !may {
		slog.WarnContext(ctx, "the database role "+serviceRole+" is missing; have an administrator make it and grant it to the service's user")
		return nil
	}
	if !able {
		if _, err := s.pool.Exec(ctx, `SELECT grant_service()`); err != nil {
			return err
		}
	}
	s.role = serviceRole
	return nil
}

// Close gives the connections back.
func (s *Store) Close() { s.pool.Close() }

// Pool is the pool below, for benchmarks and listeners.
func (s *Store) Pool() *pgxpool.Pool { return s.pool }

// Ping says whether the database answers.
func (s *Store) Ping(ctx context.Context) error { return translate(s.pool.Ping(ctx)) }

func migrate(ctx context.Context, pool *pgxpool.Pool) error {
	files, err := fs.Sub(migrations, "migrations")
	if err != nil {
		return err
	}
	// Several servers may start at once: the advisory lock lets one migrate, and the others ask every
	// second, for ten minutes at most.
	locker, err := lock.NewPostgresSessionLocker(lock.WithLockTimeout(1, 600))
	if err != nil {
		return err
	}
	sqldb := stdlib.OpenDBFromPool(pool)
	defer func() { _ = sqldb.Close() }()
	provider, err := goose.NewProvider(goose.DialectPostgres, sqldb, files, goose.WithSessionLocker(locker))
	if err != nil {
		return fmt.Errorf("reading migrations: %w", err)
	}
	if _, err := provider.Up(ctx); err != nil {
		return fmt.Errorf("migrating the database: %w", err)
	}
	return nil
}

// Tx is a transaction bound to one kitchen.
type Tx struct {
	q       *db.Queries
	tx      pgx.Tx
	kitchen uuid.UUID
	store   *Store
	// silent keeps the transaction out of the record of changes.
	silent bool
	// subject, when set, is what the record names instead of what the call named.
	subject string
}

// attempts bounds how often a transaction that lost a race is run again.
const attempts = 5

// In runs fn in a transaction bound to the kitchen with this id. fn may run more
// than once when Postgres asks for a retry, so it must not keep state between
// runs. NotFound when there is no such kitchen.
func (s *Store) In(ctx context.Context, kitchenID string, fn func(*Tx) error) error {
	id, err := s.kitchenUUID(ctx, kitchenID)
	if err != nil {
		return err
	}
	return s.run(ctx, id, fn)
}

// Look is In for reading: the transaction changes nothing and leaves no entry in the
// record, whatever the call that it is part of does elsewhere. All that fn reads is of
// one moment.
func (s *Store) Look(ctx context.Context, kitchenID string, fn func(*Tx) error) error {
	return s.In(ctx, kitchenID, func(t *Tx) error {
		t.silent = true
		if _, err := t.tx.Exec(ctx, "SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY"); err != nil {
			return err
		}
		return fn(t)
	})
}

// Across runs fn in a transaction bound to no kitchen, for kitchens themselves and
// for finding out who calls. All it can reach is kitchens and, to read, tokens.
func (s *Store) Across(ctx context.Context, fn func(*Tx) error) error {
	return s.run(ctx, uuid.Nil, fn)
}

// begin opens a transaction behind the kitchen's wall, in one round trip: as the
// service's role, with the setting that the row-level policies compare with.
func (s *Store) begin(kitchen uuid.UUID) pgx.TxOptions {
	query := "BEGIN; SET LOCAL stillroom.kitchen = '" + kitchen.String() + "'"
	if kitchen == uuid.Nil {
		query += "; SET LOCAL stillroom.scope = 'service'"
	}
	if s.role != "" {
		query += "; SET LOCAL ROLE " + s.role
	}
	return pgx.TxOptions{BeginQuery: query}
}

func (s *Store) run(ctx context.Context, kitchen uuid.UUID, fn func(*Tx) error) error {
	for attempt := 1; ; attempt++ {
		err := pgx.BeginTxFunc(ctx, s.pool, s.begin(kitchen), func(tx pgx.Tx) error {
			t := &Tx{q: db.New(tx), tx: tx, kitchen: kitchen, store: s}
			if err := fn(t); err != nil {
				return err
			}
			return t.addAuditEntry(ctx)
		})
		if err == nil {
			return nil
		}
		if attempt == attempts || !retryable(err) {
			return translate(err)
		}
		slog.DebugContext(ctx, "transaction lost a race and runs again", "attempt", attempt)
		select {
		case <-ctx.Done():
			return translate(ctx.Err())
		case <-time.After(time.Duration(attempt*attempt) * 2 * time.Millisecond):
		}
	}
}

func (s *Store) kitchenUUID(ctx context.Context, slug string) (uuid.UUID, error) {
	if id, ok := s.kitchens.Load(slug); ok {
		return id.(uuid.UUID), nil
	}
	var row db.Kitchen
	err := s.Across(ctx, func(t *Tx) (err error) {
		t.silent = true
		row, err = t.q.GetKitchen(ctx, slug)
		return found(err, "kitchen", "kitchens/"+slug)
	})
	if err != nil {
		return uuid.Nil, err
	}
	s.kitchens.Store(slug, row.ID)
	return row.ID, nil
}

// newID makes an identifier that sorts by time of creation (UUIDv7).
func newID() uuid.UUID { return uuid.Must(uuid.NewV7()) }

// slugOr is the given slug, or the identifier itself when none was given.
func slugOr(slug string, id uuid.UUID) string {
	if slug != "" {
		return slug
	}
	return id.String()
}

// each maps rows to domain values.
func each[R, D any](rows []R, to func(R) D) []D {
	out := make([]D, len(rows))
	for i, r := range rows {
		out[i] = to(r)
	}
	return out
}
