package web

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"html/template"
	"io"
	"io/fs"
	"mime"
	"net/http"
	"path"
	"strconv"
	"strings"

	sheetpage "stillroom/internal/web/sheets/page"
)

//go:embed templates assets
var files embed.FS

// looks are the templates and the files that pages use.
type looks struct {
	pages map[string]*template.Template
	// assets are by the name they are served under, which holds a part of their hash.
	assets map[string]asset
	// served is the address of a file by its own name.
	served map[string]string
}

type asset struct {
	kind         string
	data, zipped []byte
}

// shared are the templates that every page may use.
const shared = "templates/shared/*.html"

func readLooks() (*looks, error) {
	l := &looks{pages: map[string]*template.Template{}, assets: map[string]asset{}, served: map[string]string{}}
	entries, err := fs.ReadDir(files, "assets")
	if err != nil {
		return nil, err
	}
	for _, e := range entries {
		if err := l.addAsset(e.Name()); err != nil {
			return nil, err
		}
	}
	if err := l.add("sheets.css", sheetpage.Stylesheet()); err != nil {
		return nil, err
	}
	base, err := template.New("base").Funcs(l.functions()).ParseFS(files, shared)
	if err != nil {
		return nil, err
	}
	names, err := fs.Glob(files, "templates/*.html")
	if err != nil {
		return nil, err
	}
	for _, name := range names {
		t, err := base.Clone()
		if err != nil {
			return nil, err
		}
		if t, err = t.ParseFS(files, name); err != nil {
			return nil, err
		}
		l.pages[strings.TrimSuffix(path.Base(name), ".html")] = t
	}
	return l, nil
}

func (l *looks) addAsset(name string) error {
	data, err := files.ReadFile("assets/" + name)
	if err != nil {
		return err
	}
	return l.add(name, data)
}

// add serves data under a name.
func (l *looks) add(name string, data []byte) (err error) {
	sum := sha256.Sum256(data)
	ext := path.Ext(name)
	under := strings.TrimSuffix(name, ext) + "." + hex.EncodeToString(sum[:6]) + ext
	a := asset{kind: mime.TypeByExtension(ext), data: data}
	if ext == ".js" {
		a.kind = "text/javascript; charset=utf-8"
	}
	if a.kind == "" {
		return fmt.Errorf("assets/%s: of what kind is a %s file?", name, ext)
	}
	if a.zipped, err = zip(data); err != nil {
		return err
	}
	l.assets[under], l.served[name] = a, "/assets/"+under
	return nil
}

func zip(data []byte) ([]byte, error) {
	var out bytes.Buffer
	w := gzip.NewWriter(&out)
	if _, err := w.Write(data); err != nil {
		return nil, err
	}
	err := w.Close()
	return out.Bytes(), err
}

// address is where a file is served; it changes with the file, so browsers may keep it for good.
func (l *looks) address(name string) (string, error) {
	if at, ok := l.served[name]; ok {
		return at, nil
	}
	return "", fmt.Errorf("there is no assets/%s", name)
}

// execute writes a template of a page.
func (l *looks) execute(w io.Writer, page, name string, data any) error {
	t, ok := l.pages[page]
	if !ok {
		return fmt.Errorf("there is no templates/%s.html", page)
	}
	return t.ExecuteTemplate(w, name, data)
}

// ServeHTTP serves a file of assets.
func (l *looks) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	a, ok := l.assets[r.PathValue("file")]
	if !ok {
		http.NotFound(w, r)
		return
	}
	h := w.Header()
	h.Set("Content-Type", a.kind)
	h.Set("Cache-Control", "public, max-age=31536000, immutable")
	h.Set("Vary", "Accept-Encoding")
	if takesGzip(r) && len(a.zipped) < len(a.data) {
		h.Set("Content-Encoding", "gzip")
		a.data = a.zipped
	}
	h.Set("Content-Length", strconv.Itoa(len(a.data)))
	_, _ = w.Write(a.data)
}

// worthZipping is the size from which a page is sent compressed.
const worthZipping = 1 << 10

// send answers with a finished page, compressed when the visitor's browser takes that.
// The one page that holds a secret, a new invitation's, is made by a form and never twice, so that its length tells
// nothing.
func (l *looks) send(w http.ResponseWriter, r *http.Request, code int, data []byte) {
	h := w.Header()
	h.Set("Vary", "Accept-Encoding, Cookie")
	if len(data) >= worthZipping && takesGzip(r) {
		if zipped, err := zip(data); err == nil {
			h.Set("Content-Encoding", "gzip")
			data = zipped
		}
	}
	h.Set("Content-Length", strconv.Itoa(len(data)))
	w.WriteHeader(code)
	_, _ = w.Write(data)
}

func takesGzip(r *http.Request) bool {
	for part := range strings.SplitSeq(r.Header.Get("Accept-Encoding"), ",") {
		name, parameters, _ := strings.Cut(strings.TrimSpace(part), ";")
		if name == "gzip" && strings.ReplaceAll(parameters, " ", "") != "q=0" {
			return true
		}
	}
	return false
}
