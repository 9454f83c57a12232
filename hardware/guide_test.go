package hardware_test

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// Drawings are made for a phone, the narrowest place they are read on. All ours, no source.
const (
	drawingWidth = 400.0 // of every view box
	phoneWidth   = 358.0 // CSS px, of 390 less its margins
	smallestText = 11.0  // CSS px on that phone
)

// safeFonts are on every machine, or are the reader's own choice.
var safeFonts = []string{"Arial", "Helvetica", "Verdana", "sans-serif"}

var (
	fontFamily = regexp.MustCompile(`font-family:\s*([^;"]+)`)
	fontSize   = regexp.MustCompile(`font-size:\s*([0-9.]+)px`)
	reference  = regexp.MustCompile(`url\(#([^)]+)\)`)
	link       = regexp.MustCompile(`(!?)\[([^\]]*)\]\(([^)\s]+)\)`)
	heading    = regexp.MustCompile(`(?m)^#+ (.+)$`)
	notInSlug  = regexp.MustCompile(`[^\p{L}\p{N} _-]`)
)

func TestDrawings(t *testing.T) {
	for _, file := range files(t, "*.svg") {
		for _, fault := range drawingFaults(read(t, file)) {
			t.Errorf("%s: %s", file, fault)
		}
	}
}

// drawingFaults says what keeps a drawing from being read everywhere: aloud, on a phone, in the dark, on paper, without a network.
func drawingFaults(text string) []string {
	var out []string
	fault := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	var ids, order []string
	words, height := map[string]string{}, ""
	decoder := xml.NewDecoder(strings.NewReader(text))
	for in := ""; ; {
		token, err := decoder.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return append(out, "not well-formed: "+err.Error())
		}
		switch e := token.(type) {
		case xml.StartElement:
			in = e.Name.Local
			order = append(order, in)
			if slices.Contains([]string{"script", "foreignObject", "image", "a", "use"}, in) {
				fault("holds <%s>", in)
			}
			for _, a := range e.Attr {
				switch {
				case a.Name.Local == "id":
					ids = append(ids, a.Value)
				case a.Name.Local == "href" || strings.HasPrefix(a.Name.Local, "on"):
					fault("%s=%q leads elsewhere", a.Name.Local, a.Value)
				case in == "svg" && a.Name.Local == "viewBox":
					if _, err := fmt.Sscanf(a.Value, fmt.Sprintf("0 0 %g %%s", drawingWidth), &height); err != nil {
						fault("viewBox %q is not %g wide", a.Value, drawingWidth)
					}
				}
			}
		case xml.CharData:
			words[in] += strings.TrimSpace(string(e))
		}
	}
	if !slices.Equal(order[:min(3, len(order))], []string{"svg", "title", "desc"}) || len(words["title"]) < 5 || len(words["desc"]) < 40 {
		fault("has to begin with a title and a desc that say what it shows")
	}
	if !strings.Contains(text, `role="img" aria-labelledby="title desc"`) {
		fault(`lacks role="img" aria-labelledby="title desc"`)
	}
	if !strings.Contains(text, `width="640" style="max-width: 100%"`) || strings.Contains(text[:strings.Index(text, ">")+1], " height=") {
		fault(`has to shrink with a narrow window: width="640" style="max-width: 100%%", and no height`)
	}
	if !strings.Contains(text, fmt.Sprintf(`<rect width="%g" height="%s" fill="#fff"/>`, drawingWidth, height)) {
		fault("has no white ground of its own, so a dark page hides it")
	}
	for _, m := range reference.FindAllStringSubmatch(text, -1) {
		if !slices.Contains(ids, m[1]) {
			fault("refers to #%s, which is not there", m[1])
		}
	}
	return append(out, textFaults(text)...)
}

func textFaults(text string) []string {
	var out []string
	families, sizes := fontFamily.FindAllStringSubmatch(text, -1), fontSize.FindAllStringSubmatch(text, -1)
	if len(families) == 0 || len(sizes) == 0 {
		return []string{"sets no font"}
	}
	for _, m := range families {
		for name := range strings.SplitSeq(m[1], ",") {
			if name = strings.Trim(strings.TrimSpace(name), `'"`); !slices.Contains(safeFonts, name) {
				out = append(out, fmt.Sprintf("font %s is not on every machine", name))
			}
		}
	}
	for _, m := range sizes {
		if px, err := strconv.ParseFloat(m[1], 64); err != nil || px*phoneWidth/drawingWidth < smallestText {
			out = append(out, fmt.Sprintf("text of %s px is too small on a phone", m[1]))
		}
	}
	return out
}

func TestPlantedDrawingFaults(t *testing.T) {
	good := read(t, "wiring-line.svg")
	if faults := drawingFaults(good); len(faults) > 0 {
		t.Fatal(faults)
	}
	for _, row := range []struct{ name, old, with, want string }{
		{"a tag left open", "</svg>", "", "not well-formed"},
		{"no title", "<title id=\"title\">", "<desc>x</desc><title id=\"title\">", "begin with a title"},
		{"a font from elsewhere", "Arial", "Fancy", "not on every machine"},
		{"tiny text", "font-size: 14px", "font-size: 9px", "too small"},
		{"a wide drawing", "0 0 400 ", "0 0 900 ", "not 400 wide"},
		{"a fixed size", ` style="max-width: 100%"`, "", "shrink"},
		{"a fixed height", ` style="max-width: 100%"`, ` style="max-width: 100%" height="900"`, "shrink"},
		{"no ground", `fill="#fff"/>`, `fill="none"/>`, "white ground"},
		{"a script", "</svg>", "<script>x</script></svg>", "holds <script>"},
		{"a lost reference", "</svg>", `<rect fill="url(#gone)"/></svg>`, "refers to #gone"},
	} {
		t.Run(row.name, func(t *testing.T) {
			bad := strings.Replace(good, row.old, row.with, 1)
			if got := strings.Join(drawingFaults(bad), "; "); bad == good || !strings.Contains(got, row.want) {
				t.Errorf("got %q, want %q", got, row.want)
			}
		})
	}
}

// TestLinks: every link of the guide leads to a file and a heading that are there, and every page and drawing is led to.
func TestLinks(t *testing.T) {
	led := map[string]bool{"README.md": true}
	pages := files(t, "*.md")
	for _, page := range pages {
		for _, m := range link.FindAllStringSubmatch(read(t, page), -1) {
			image, words, target := m[1] != "", m[2], m[3]
			if strings.Contains(target, "://") {
				t.Errorf("%s: %s needs a network in the barn", page, target)
				continue
			}
			file, anchor, _ := strings.Cut(target, "#")
			if file == "" {
				file = page
			}
			led[file] = true
			switch body, err := os.ReadFile(file); {
			case err != nil:
				t.Errorf("%s: %v", page, err)
			case anchor != "" && !slices.Contains(slugs(string(body)), anchor):
				t.Errorf("%s: %s has no heading #%s", page, file, anchor)
			case image && len(words) < 20:
				t.Errorf("%s: %s wants words for those who cannot see it, not %q", page, target, words)
			}
		}
	}
	for _, file := range append(pages, files(t, "*.svg")...) {
		if !led[file] {
			t.Errorf("nothing leads to %s", file)
		}
	}
}

// slugs are the anchors of a page, as the usual renderers of Markdown make them.
func slugs(page string) []string {
	var out []string
	for _, m := range heading.FindAllStringSubmatch(page, -1) {
		out = append(out, strings.ReplaceAll(notInSlug.ReplaceAllString(strings.ToLower(m[1]), ""), " ", "-"))
	}
	return out
}

// TestCautions: what can hurt is said at the top of the way, and each page that has dangerous steps has a caution of its own.
func TestCautions(t *testing.T) {
	top, _, _ := strings.Cut(read(t, "README.md"), "## The way")
	for _, word := range []string{
		"GFCI (RCD)", "licensed electrician", "local code", "Heaters and lamps", "Bedding burns", "Fuse", "below 0 °C (32 °F)", "buried gas",
		"drain", "bites through", "strangulation", "disturbed", "ammonia", "veterinarian",
	} {
		if !strings.Contains(strings.Join(strings.Fields(top), " "), word) {
			t.Errorf("the cautions at the top say nothing of %q", word)
		}
	}
	for _, page := range files(t, "*.md") {
		if !strings.Contains(read(t, page), "> **Caution.**") && page != "README.md" {
			t.Errorf("%s has no caution", page)
		}
	}
}

func files(t *testing.T, pattern string) []string {
	t.Helper()
	found, err := filepath.Glob(pattern)
	if err != nil || len(found) < 5 {
		t.Fatalf("%s: only %q found, %v", pattern, found, err)
	}
	return found
}

func read(t *testing.T, file string) string {
	t.Helper()
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}
