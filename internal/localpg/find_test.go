//go:build linux || darwin || freebsd || netbsd || openbsd

package localpg

import (
	"archive/zip"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"stillroom/internal/fault"
)

// pretend makes a folder with programs that know nothing but their version.
func pretend(t *testing.T, folder, version string) string {
	t.Helper()
	require.NoError(t, os.MkdirAll(folder, 0o755))
	for _, program := range []string{"postgres", "initdb", "pg_ctl"} {
		script := fmt.Sprintf("#!/bin/sh\necho '%s (PostgreSQL) %s'\n", program, version)
		require.NoError(t, os.WriteFile(filepath.Join(folder, program), []byte(script), 0o755))
	}
	return folder
}

func self(t *testing.T) account {
	t.Helper()
	return account{name: "me", uid: os.Geteuid(), gid: os.Getegid()}
}

func folders(found []binaries) (list []string) {
	for _, b := range found {
		list = append(list, b.folder)
	}
	return list
}

func TestFindPrefersPathThenTheNewest(t *testing.T) {
	root := openFolder(t)
	inPath := pretend(t, filepath.Join(root, "path"), "16.4")
	eleven := pretend(t, filepath.Join(root, "lib", "11", "bin"), "11.22")
	fifteen := pretend(t, filepath.Join(root, "lib", "15", "bin"), "15.18 (Debian 15.18-0+deb12u1)")
	nine := pretend(t, filepath.Join(root, "lib", "9", "bin"), "9.6.24")
	eighteen := pretend(t, filepath.Join(root, "lib", "18", "bin"), "18beta1")
	half := filepath.Join(root, "lib", "17", "bin")
	require.NoError(t, os.MkdirAll(half, 0o755))
	require.NoError(t, os.WriteFile(filepath.Join(half, "postgres"), []byte("#!/bin/sh\nexit 1\n"), 0o755))
	t.Setenv("PATH", inPath+":/bin:/usr/bin")
	t.Setenv("HOME", root)

	found, seen := find(self(t), []string{filepath.Join(root, "lib", "*", "bin")})
	// pg_config of the machine may add its own folder behind PATH; it is not what is tested here.
	list := []string{}
	for _, folder := range folders(found) {
		if strings.HasPrefix(folder, root) {
			list = append(list, folder)
		}
	}
	require.Equal(t, []string{inPath, eighteen, fifteen}, list)
	require.Equal(t, Version{16, 4}, found[0].version)
	all := strings.Join(seen, "\n")
	require.Contains(t, all, eleven+" (version 11.22)")
	require.Contains(t, all, nine+" (version 9.6)")
	require.Contains(t, all, half+" (no initdb there)")
}

func TestFindFollowsLinksInPath(t *testing.T) {
	root := openFolder(t)
	target := pretend(t, filepath.Join(root, "real"), "15.1")
	links := filepath.Join(root, "links")
	require.NoError(t, os.Mkdir(links, 0o755))
	require.NoError(t, os.Symlink(filepath.Join(target, "postgres"), filepath.Join(links, "postgres")))
	t.Setenv("PATH", links+":/bin:/usr/bin")
	found, _ := find(self(t), nil)
	require.Equal(t, target, found[0].folder)
}

func TestBinFolderIsTakenAtItsWord(t *testing.T) {
	t.Parallel()
	root := openFolder(t)
	for version, want := range map[string]string{
		"14.9":    "Postgres 14.9 in " + filepath.Join(root, "14.9") + " is too old; version 15 or later is needed",
		"unknown": "instead of a version",
	} {
		_, err := Start(t.Context(), Options{Folder: filepath.Join(root, "data"), BinFolder: pretend(t, filepath.Join(root, version), version)})
		require.ErrorContains(t, err, want)
	}
	_, err := Start(t.Context(), Options{Folder: filepath.Join(root, "data"), BinFolder: filepath.Join(root, "nowhere")})
	require.ErrorContains(t, err, "no initdb there")
}

// Data made by one major version cannot be served by another.
func TestDataOfAnotherVersionIsReported(t *testing.T) {
	t.Parallel()
	folder := openFolder(t)
	require.NoError(t, start(t, Options{Folder: folder, hasty: true}).Stop())
	require.NoError(t, os.WriteFile(filepath.Join(folder, "postgres", "PG_VERSION"), []byte("12\n"), 0o600))
	_, err := Start(t.Context(), Options{Folder: folder, hasty: true})
	require.Equal(t, fault.Precondition, fault.KindOf(err))
	require.ErrorContains(t, err, "Postgres 12 (the version that made "+filepath.Join(folder, "postgres")+") is not on this machine")
}

// repository serves one fetchable version in the layout of the fetching library: a zip that holds a
// tar.xz, and its SHA-256.
func repository(t *testing.T, version string) *httptest.Server {
	t.Helper()
	if _, err := exec.LookPath("xz"); err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal("this test packs with xz; install xz-utils")
		}
		t.Skip("this test packs with xz, which is not installed")
	}
	tree := t.TempDir()
	pretend(t, filepath.Join(tree, "bin"), version)
	packed, err := exec.Command("tar", "-C", tree, "-cJf", "-", "bin").Output()
	require.NoError(t, err)
	var jar bytes.Buffer
	z := zip.NewWriter(&jar)
	w, err := z.Create("postgres-linux-x86_64.txz")
	require.NoError(t, err)
	_, err = w.Write(packed)
	require.NoError(t, err)
	require.NoError(t, z.Close())
	sum := sha256.Sum256(jar.Bytes())
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch {
		case strings.HasSuffix(r.URL.Path, ".jar"):
			_, _ = w.Write(jar.Bytes())
		case strings.HasSuffix(r.URL.Path, ".jar.sha256"):
			_, _ = w.Write([]byte(hex.EncodeToString(sum[:])))
		default:
			http.NotFound(w, r)
		}
	}))
	t.Cleanup(server.Close)
	return server
}

func TestFetchedBinariesAreKept(t *testing.T) {
	t.Parallel()
	server := repository(t, "17.5")
	var notices []string
	o := Options{
		FetchFolder: filepath.Join(openFolder(t), "fetched"), FetchFrom: server.URL,
		Notice: func(line string) { notices = append(notices, line) },
	}
	b, err := fetch(t.Context(), o, 0, self(t))
	require.NoError(t, err)
	require.Equal(t, Version{17, 5}, b.version)
	require.FileExists(t, b.path("initdb"))
	require.Len(t, notices, 1)

	server.Close()
	again, err := fetch(t.Context(), o, 0, self(t))
	require.NoError(t, err, "no second download")
	require.Equal(t, b, again)
	require.Len(t, notices, 1)
}

func TestFailedFetchSaysWhatToInstall(t *testing.T) {
	t.Parallel()
	server := httptest.NewServer(http.NotFoundHandler())
	t.Cleanup(server.Close)
	o := Options{FetchFolder: filepath.Join(openFolder(t), "fetched"), FetchFrom: server.URL, Notice: func(string) {}}
	_, err := fetch(t.Context(), o, 0, self(t))
	require.Error(t, err)
	message := notFound(0, "", []string{"/opt/old/bin (version 11.2)"}, err).Error()
	require.Contains(t, message, "Postgres 15 or later is not on this machine")
	require.Contains(t, message, "/opt/old/bin (version 11.2)")
	require.Contains(t, message, "apt-get install postgresql")
	require.Contains(t, message, URLVariable)
	require.Contains(t, message, "no version found matching")

	_, err = fetch(t.Context(), o, 12, self(t))
	require.ErrorContains(t, err, "no binaries of version 12 can be fetched")
}
