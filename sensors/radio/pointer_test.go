package radio

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"
)

// The document and the pointers of RFC 6901, section 5.
const rfc6901 = `{"foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4, "i\\j": 5, "k\"l": 6, " ": 7, "m~n": 8}`

func TestPointersOfRFC6901(t *testing.T) {
	var doc any
	if err := json.Unmarshal([]byte(rfc6901), &doc); err != nil {
		t.Fatal(err)
	}
	for text, want := range map[string]any{
		"": doc, "/foo": []any{"bar", "baz"}, "/foo/0": "bar", "/": 0, "/a~1b": 1, "/c%d": 2, "/e^f": 3, "/g|h": 4, `/i\j`: 5, `/k"l`: 6, "/ ": 7, "/m~0n": 8,
	} {
		p, err := parsePointer(text)
		if err != nil {
			t.Errorf("%q: %v", text, err)
			continue
		}
		if got, ok := p.find(doc); !ok || fmt.Sprint(got) != fmt.Sprint(want) {
			t.Errorf("%q leads to %v, %v; want %v", text, got, ok, want)
		}
	}
}

func TestPointersThatLeadNowhere(t *testing.T) {
	var doc any
	if err := json.Unmarshal([]byte(`{"a": [1, {"~1": 2}], "b": null}`), &doc); err != nil {
		t.Fatal(err)
	}
	for text, want := range map[string]bool{
		"/a/0": true, "/a/1/~01": true, "/b": true, // ~01 is ~1 (RFC 6901, section 4)
		"/a/2": false, "/a/-": false, "/a/-1": false, "/a/00": false, "/a/+1": false, "/a/x": false, "/a/0/x": false, "/b/x": false, "/c": false, "/A": false,
		"/a/99999999999999999999": false,
	} {
		p, err := parsePointer(text)
		if err != nil {
			t.Fatalf("%q: %v", text, err)
		}
		if _, ok := p.find(doc); ok != want {
			t.Errorf("%q: found %v, want %v", text, ok, want)
		}
	}
}

func TestWhatIsNoPointer(t *testing.T) {
	for text, want := range map[string]string{
		"temp":        `"temp" is not a JSON pointer; write / before each step, such as /temp`,
		"$.air.temp":  `such as /air.temp`,
		"/a~":         "write ~0 for ~ and ~1 for /",
		"/a~2b":       "write ~0 for ~ and ~1 for /",
		"/a~0b/c~1~x": "write ~0 for ~ and ~1 for /",
	} {
		if _, err := parsePointer(text); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: got %v, want %s", text, err, want)
		}
	}
}
