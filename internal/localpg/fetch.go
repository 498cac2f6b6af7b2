package localpg

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"runtime"
	"time"

	embedded "github.com/fergusstrange/embedded-postgres"
)

// fetchable are the versions that the fetching library knows, by major version; the first is for new data.
var fetchable = []struct {
	major   int
	version embedded.PostgresVersion
}{
	{17, embedded.V17},
	{18, embedded.V18},
	{16, embedded.V16},
	{15, embedded.V15},
}

// fetchPatience bounds a download of some 10 MB.
const fetchPatience = 5 * time.Minute

// fetch downloads binaries of a major version (zero: the one preferred) and keeps them for later runs.
func fetch(ctx context.Context, o Options, major int, who account) (binaries, error) {
	wanted := fetchable[0]
	if major != 0 {
		found := false
		for _, f := range fetchable {
			if f.major == major {
				wanted, found = f, true
			}
		}
		if !found {
			return binaries{}, fmt.Errorf("no binaries of version %d can be fetched", major)
		}
	}
	kept := o.FetchFolder
	if kept == "" {
		var err error
		if kept, err = defaultFetchFolder(); err != nil {
			return binaries{}, err
		}
	}
	target := filepath.Join(kept, string(wanted.version))
	if b, err := inspect(filepath.Join(target, "bin"), who); err == nil {
		return b, nil
	}
	o.Notice(fmt.Sprintf("Postgres is not installed here; fetching version %s into %s", wanted.version, target))
	if err := os.MkdirAll(target, 0o755); err != nil {
		return binaries{}, err
	}
	if err := who.canEnter(target); err != nil {
		return binaries{}, err
	}
	fetched := make(chan error, 1)
	go func() { fetched <- fetchOnly(kept, target, o.FetchFrom, wanted.version) }()
	var fetchErr error
	select {
	case fetchErr = <-fetched:
	case <-ctx.Done():
		return binaries{}, ctx.Err()
	case <-time.After(fetchPatience):
		return binaries{}, fmt.Errorf("no answer within %v", fetchPatience)
	}
	b, err := inspect(filepath.Join(target, "bin"), who)
	if err != nil {
		if fetchErr != nil {
			return binaries{}, fetchErr
		}
		return binaries{}, fmt.Errorf("what was fetched does not run: %w", err)
	}
	return b, nil
}

// fetchOnly has the library fetch and unpack, and nothing more. The library would go on to run a
// Postgres of its own, with a fixed password on a port; it is given a data folder that looks made
// already but cannot start, so that it stops there. Its complaint about that is no news: the caller
// judges by what was unpacked.
func fetchOnly(kept, target, from string, version embedded.PostgresVersion) error {
	scratch, err := os.MkdirTemp("", "stillroom-fetch-")
	if err != nil {
		return err
	}
	defer func() { _ = os.RemoveAll(scratch) }()
	data := filepath.Join(scratch, "data")
	if err := os.Mkdir(data, 0o700); err != nil {
		return err
	}
	if err := os.WriteFile(filepath.Join(data, "PG_VERSION"), []byte(version[:2]+"\n"), 0o600); err != nil {
		return err
	}
	port, err := freePort()
	if err != nil {
		return err
	}
	config := embedded.DefaultConfig().Version(version).CachePath(kept).BinariesPath(target).
		RuntimePath(filepath.Join(scratch, "run")).DataPath(data).Port(port).Logger(io.Discard).StartTimeout(time.Second)
	if from != "" {
		config = config.BinaryRepositoryURL(from)
	}
	library := embedded.NewDatabase(config)
	err = library.Start()
	if err == nil {
		return errors.Join(errors.New("a Postgres that could not start has started"), library.Stop())
	}
	return err
}

func freePort() (uint32, error) {
	l, err := net.Listen("tcp", "localhost:0")
	if err != nil {
		return 0, err
	}
	defer func() { _ = l.Close() }()
	return uint32(l.Addr().(*net.TCPAddr).Port), nil
}

// defaultFetchFolder is in the user's cache; for root, where any user may run programs from.
func defaultFetchFolder() (string, error) {
	if os.Geteuid() == 0 && runtime.GOOS != "windows" {
		return "/var/cache/stillroom/postgres", nil
	}
	cache, err := os.UserCacheDir()
	if err != nil {
		return "", err
	}
	return filepath.Join(cache, "stillroom", "postgres"), nil
}
