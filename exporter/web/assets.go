package web

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"html/template"
	"io/fs"
	"maps"
	"net/http"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"nestmon/dashboards"
)

// assets are the page's files, hashed and compressed once.
type assets struct {
	hash   string // of all files together; part of every address, so that a new program never meets an old file
	words  words
	index  *template.Template // of an indexView
	policy string             // of index
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

// Marks in index.html: where the hash belongs, the line that asks for the scripts of the first room all at once, and what must not be waited for.
const (
	hashMark    = "@HASH@"
	preloadMark = "@PRELOAD@"
	styleMark   = "@STYLE@"   // the sheet itself: the first look waits for nothing else
	filesMark   = `"@FILES@"` // in sw.js: all files that the page may ask for
	wordsMark   = `"@WORDS@"` // in sw.js: what it says
)

// importLine finds what a script cannot begin without; what it asks for later is written import("…").
var importLine = regexp.MustCompile(`(?m)^(?:import|export) [^"\n]*?"(\.[^"]+)";`)

// preload are links to all scripts that main.js needs at once: a browser would ask for each only when it has read the one that names it.
func preload(root fs.FS) (string, error) {
	var links strings.Builder
	seen := map[string]bool{}
	for next := []string{"main.js"}; len(next) > 0; next = next[1:] {
		body, err := fs.ReadFile(root, next[0])
		if err != nil {
			return "", err
		}
		for _, found := range importLine.FindAllSubmatch(body, -1) {
			name := path.Join(path.Dir(next[0]), string(found[1]))
			if !seen[name] {
				seen[name] = true
				next = append(next, name)
				fmt.Fprintf(&links, "<link rel=\"modulepreload\" href=\"static/%s/%s\">\n", hashMark, name)
			}
		}
	}
	return links.String(), nil
}

func loadAssets() assets {
	a := assets{files: map[string]asset{}, top: map[string]asset{"sw.js": {}, "manifest.webmanifest": {}}}
	all := sha256.New()
	root := dashboards.Page()
	var index string
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
			var links string
			links, err = preload(root)
			index = strings.Replace(string(body), preloadMark, strings.TrimSuffix(links, "\n"), 1)
		case "answer.html":
			a.answer, err = newTemplate(name, body)
		default:
			a.files[name] = newAsset(name, body)
		}
		return err
	})
	a.hash = hex.EncodeToString(all.Sum(nil))[:16]
	if err == nil {
		a.words, err = servedWords(a.files["texts.js"].plain)
	}
	var spoken []byte
	if err == nil {
		spoken, err = json.Marshal(a.words["worker"])
	}
	if err == nil {
		index = strings.Replace(index, styleMark, string(a.files["style.css"].plain), 1)
		a.index, a.policy, err = parseIndex(strings.ReplaceAll(index, hashMark, a.hash), a.words)
	}
	if err != nil || index == "" || a.answer == nil {
		panic(fmt.Sprint("the page's files are not in the program: ", err)) // embedded at build time; cannot be cured at run time
	}
	for name := range a.top {
		body := bytes.ReplaceAll(a.files[name].plain, []byte(filesMark), a.list())
		body = bytes.ReplaceAll(body, []byte(wordsMark), spoken)
		a.top[name] = newAsset(name, bytes.ReplaceAll(body, []byte(hashMark), []byte(a.hash)))
	}
	return a
}

// parseIndex returns the page with a policy that lets in the one sheet which stands in it, as it is written: a template drops comments.
func parseIndex(text string, w words) (*template.Template, string, error) {
	index, err := newTemplate("index.html", []byte(text))
	if err != nil {
		return nil, "", err
	}
	var page bytes.Buffer
	if err := index.Execute(&page, indexView{Words: w}); err != nil {
		return nil, "", err
	}
	_, sheet, _ := bytes.Cut(page.Bytes(), []byte("<style>"))
	sheet, _, _ = bytes.Cut(sheet, []byte("</style>"))
	sum := sha256.Sum256(sheet)
	const styles = "style-src 'self'"
	return index, strings.Replace(policy, styles, styles+" 'sha256-"+base64.StdEncoding.EncodeToString(sum[:])+"'", 1), nil
}

// list names all files below the hash, as a script writes a list.
func (a assets) list() []byte {
	var names []string
	for _, name := range slices.Sorted(maps.Keys(a.files)) {
		if _, beside := a.top[name]; !beside {
			names = append(names, strconv.Quote(name))
		}
	}
	return []byte(strings.Join(names, ", "))
}

func newAsset(name string, body []byte) asset {
	sum := sha256.Sum256(body)
	out := asset{kind: contentType(path.Ext(name)), plain: body, etag: hex.EncodeToString(sum[:8])}
	if zipped := zip(body, gzip.BestCompression); len(zipped) < len(body) {
		out.zipped = zipped
	}
	return out
}

func zip(body []byte, level int) []byte {
	var buf bytes.Buffer
	zw, _ := gzip.NewWriterLevel(&buf, level) // the level is valid, and a buffer takes everything
	_, _ = zw.Write(body)
	_ = zw.Close()
	return buf.Bytes()
}

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
