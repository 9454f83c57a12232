package web

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/hex"
	"html/template"
	"io/fs"
	"net/http"
	"path"
	"strconv"
	"strings"

	"nestmon/dashboards"
)

// assets are the page's files, hashed and compressed once.
type assets struct {
	hash   string // of all files together; part of every address, so that a new program never meets an old file
	index  asset
	top    map[string]asset   // beside the index: a worker watches over what lies below its own address
	answer *template.Template // of the pages behind a message's link
	files  map[string]asset
}

type asset struct {
	kind          string // Content-Type
	plain, zipped []byte
	etag          string
}

// contentType is a closed list: the machine's own table of types must not decide how a browser reads a script.
func contentType(ext string) string {
	switch ext {
	case ".html":
		return "text/html; charset=utf-8"
	case ".css":
		return "text/css; charset=utf-8"
	case ".js":
		return "text/javascript; charset=utf-8"
	case ".svg":
		return "image/svg+xml"
	case ".png":
		return "image/png"
	case ".webmanifest":
		return "application/manifest+json"
	}
	return "text/plain; charset=utf-8"
}

// hashMark stands in index.html where the hash belongs.
const hashMark = "@HASH@"

func loadAssets() assets {
	a := assets{files: map[string]asset{}, top: map[string]asset{"sw.js": {}, "manifest.webmanifest": {}}}
	all := sha256.New()
	root := dashboards.Page()
	var index []byte
	err := fs.WalkDir(root, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		body, err := fs.ReadFile(root, name)
		if err != nil {
			return err
		}
		all.Write([]byte(name))
		all.Write(body)
		switch name {
		case "index.html":
			index = body
		case "answer.html":
			a.answer, err = template.New(name).Funcs(answerFuncs).Parse(string(body))
		default:
			a.files[name] = newAsset(name, body)
		}
		return err
	})
	if err != nil || index == nil || a.answer == nil {
		panic("the page's files are not in the program") // embedded at build time; cannot be cured at run time
	}
	a.hash = hex.EncodeToString(all.Sum(nil))[:16]
	a.index = newAsset("index.html", bytes.ReplaceAll(index, []byte(hashMark), []byte(a.hash)))
	for name := range a.top {
		a.top[name] = newAsset(name, bytes.ReplaceAll(a.files[name].plain, []byte(hashMark), []byte(a.hash)))
	}
	return a
}

func newAsset(name string, body []byte) asset {
	sum := sha256.Sum256(body)
	out := asset{kind: contentType(path.Ext(name)), plain: body, etag: hex.EncodeToString(sum[:8])}
	var buf bytes.Buffer
	zw, _ := gzip.NewWriterLevel(&buf, gzip.BestCompression) // the level is valid, and a buffer takes everything
	_, _ = zw.Write(body)
	_ = zw.Close()
	if buf.Len() < len(body) {
		out.zipped = buf.Bytes()
	}
	return out
}

func (a assets) serveIndex(w http.ResponseWriter, r *http.Request) { a.index.serve(w, r, "no-cache") }

// serveTop serves a file that is not below the hash, so it must be asked for anew each time.
func (a assets) serveTop(w http.ResponseWriter, r *http.Request) {
	a.top[strings.TrimPrefix(r.URL.Path, "/")].serve(w, r, "no-cache")
}

func (a assets) serveFile(w http.ResponseWriter, r *http.Request) {
	file, ok := a.files[r.PathValue("file")]
	if !ok || r.PathValue("hash") != a.hash {
		refuse(w, http.StatusNotFound, "there is no such file; load the page again")
		return
	}
	file.serve(w, r, "public, max-age=31536000, immutable")
}

func (f asset) serve(w http.ResponseWriter, r *http.Request, cache string) {
	body, etag := f.plain, `"`+f.etag+`"`
	h := w.Header()
	h.Set("Cache-Control", cache)
	h.Set("Vary", "Accept-Encoding")
	h.Set("Content-Type", f.kind)
	if f.zipped != nil && acceptsGzip(r) {
		body, etag = f.zipped, `"`+f.etag+`-gz"`
		h.Set("Content-Encoding", "gzip")
	}
	h.Set("ETag", etag)
	if strings.Contains(r.Header.Get("If-None-Match"), etag) {
		h.Del("Content-Encoding")
		w.WriteHeader(http.StatusNotModified)
		return
	}
	h.Set("Content-Length", strconv.Itoa(len(body)))
	_, _ = w.Write(body) // a reader that has gone away needs no answer
}

// acceptsGzip reports whether gzip is asked for and not refused by q=0.
func acceptsGzip(r *http.Request) bool {
	for part := range strings.SplitSeq(r.Header.Get("Accept-Encoding"), ",") {
		coding, weight, _ := strings.Cut(strings.ReplaceAll(part, " ", ""), ";")
		if coding == "gzip" {
			return weight != "q=0"
		}
	}
	return false
}
