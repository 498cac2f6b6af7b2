// Package pgtest gives each test a Postgres database of its own.
//
// One private Postgres serves the tests of one package: it is started by the first test that asks for a
// database and stopped when the package's tests have ended. Each database is a copy of a template that
// was prepared once, usually by running the migrations, so that tests share nothing and run in parallel:
//
//	func TestMain(m *testing.M) { pgtest.Main(m) }
//
//	var migrated = pgtest.Template(store.Migrate)
//
//	func TestEnrol(t *testing.T) {
//		t.Parallel()
//		url := migrated.Database(t)
//		…
//	}
//
// With STILLROOM_DATABASE_URL set, that server is used instead. Its user must be allowed to create
// databases; those made here have names that begin with stillroom_test_, and are dropped again.
package pgtest

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"net/url"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"stillroom/internal/localpg"
)

// Prepared is a template that databases are copied from.
type Prepared struct {
	prepare func(ctx context.Context, url string) error

	once sync.Once
	name string
	err  error
}

// Template describes a template; prepare fills an empty database, once, when first needed. It must not
// leave connections open. A nil prepare leaves it empty.
func Template(prepare func(ctx context.Context, url string) error) *Prepared {
	return &Prepared{prepare: prepare}
}

// Database makes a new copy of the template for one test and gives its connection string. The copy is
// dropped when the test has ended, connections that are still open notwithstanding.
func (p *Prepared) Database(t testing.TB) string {
	t.Helper()
	s, err := shared.get()
	if err != nil {
		t.Fatalf("pgtest: %v", err)
	}
	p.once.Do(func() { p.name, p.err = s.template(p.prepare) })
	if p.err != nil {
		t.Fatalf("pgtest: prepare the template: %v", p.err)
	}
	name, err := s.create(p.name)
	if err != nil {
		t.Fatalf("pgtest: copy the template: %v", err)
	}
	t.Cleanup(func() {
		if err := s.drop(name); err != nil {
			t.Errorf("pgtest: %v", err)
		}
	})
	return s.url(name)
}

// Empty makes a new database with nothing in it, for tests of migrations.
func Empty(t testing.TB) string {
	t.Helper()
	return empty.Database(t)
}

var empty = Template(nil)

// Main runs the tests of a package and then stops the Postgres that they used. It must be called from
// TestMain and does not return.
func Main(m *testing.M) { os.Exit(Run(m)) }

// Run is Main for a TestMain that has more to tidy up: it returns the exit status.
func Run(m *testing.M) int {
	shared.mu.Lock()
	shared.main = true
	shared.mu.Unlock()
	code := m.Run()
	if err := shared.stop(); err != nil {
		fmt.Fprintln(os.Stderr, "pgtest: stop Postgres:", err)
		if code == 0 {
			code = 1
		}
	}
	return code
}

// shared is the server of this test process.
var shared process

type process struct {
	mu     sync.Mutex
	main   bool
	server *server
	err    error
}

func (p *process) get() (*server, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if !p.main {
		return nil, errors.New("the package's TestMain must call pgtest.Main, which stops Postgres after the tests")
	}
	if p.server == nil && p.err == nil {
		p.server, p.err = start()
	}
	return p.server, p.err
}

func (p *process) stop() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.server == nil {
		return nil
	}
	return p.server.stop()
}

// server is a Postgres, private or given, on which databases are made and dropped.
type server struct {
	private *localpg.Server // nil when given
	url     func(database string) string

	mu        sync.Mutex
	admin     *pgx.Conn
	templates []string
}

// limit bounds each step here, so that a test hangs on no database.
const limit = 2 * time.Minute

func start() (*server, error) {
	ctx, cancel := context.WithTimeout(context.Background(), limit)
	defer cancel()
	s := &server{}
	adminURL := os.Getenv(localpg.URLVariable)
	if adminURL != "" {
		s.url = func(database string) string { return withDatabase(adminURL, database) }
	} else {
		private, err := localpg.Start(ctx, localpg.Options{Disposable: true})
		if err != nil {
			return nil, err
		}
		s.private, s.url = private, private.URL
		adminURL = private.URL("postgres")
	}
	conn, err := pgx.Connect(ctx, adminURL)
	if err != nil {
		err = fmt.Errorf("connect: %w", err)
		if s.private != nil {
			err = errors.Join(err, s.private.Stop())
		}
		return nil, err
	}
	s.admin = conn
	return s, nil
}

// withDatabase puts another database into a connection string of either form.
func withDatabase(connection, database string) string {
	if u, err := url.Parse(connection); err == nil && (u.Scheme == "postgres" || u.Scheme == "postgresql") {
		u.Path = "/" + database
		return u.String()
	}
	return connection + " dbname=" + database // the last of several counts
}

func (s *server) template(prepare func(context.Context, string) error) (string, error) {
	name, err := s.create("template0")
	if err != nil {
		return "", err
	}
	s.mu.Lock()
	s.templates = append(s.templates, name)
	s.mu.Unlock()
	if prepare == nil {
		return name, nil
	}
	ctx, cancel := context.WithTimeout(context.Background(), limit)
	defer cancel()
	return name, prepare(ctx, s.url(name))
}

func (s *server) create(template string) (string, error) {
	name := "stillroom_test_" + strings.ToLower(rand.Text())
	return name, s.exec(fmt.Sprintf("CREATE DATABASE %s TEMPLATE %s", pgx.Identifier{name}.Sanitize(), pgx.Identifier{template}.Sanitize()))
}

func (s *server) drop(name string) error {
	return s.exec(fmt.Sprintf("DROP DATABASE IF EXISTS %s WITH (FORCE)", pgx.Identifier{name}.Sanitize()))
}

// exec runs one statement at a time: copying a template wants it to itself anyway.
func (s *server) exec(statement string) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	ctx, cancel := context.WithTimeout(context.Background(), limit)
	defer cancel()
	if _, err := s.admin.Exec(ctx, statement); err != nil {
		return fmt.Errorf("%s: %w", statement, err)
	}
	return nil
}

func (s *server) stop() error {
	var errs []error
	if s.private == nil {
		for _, name := range s.templates {
			errs = append(errs, s.drop(name))
		}
	}
	ctx, cancel := context.WithTimeout(context.Background(), limit)
	defer cancel()
	errs = append(errs, s.admin.Close(ctx))
	if s.private != nil {
		errs = append(errs, s.private.Stop())
	}
	return errors.Join(errs...)
}
