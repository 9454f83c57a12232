package web

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"strings"
)

// words are the page's texts that the daemon writes itself, by their names in texts.js.
type words map[string]any

// servedWords finds them in the catalogue.
func servedWords(catalogue []byte) (words, error) {
	_, text, found := bytes.Cut(catalogue, []byte("\nexport const served = "))
	text, _, ended := bytes.Cut(text, []byte("\n};"))
	if !found || !ended {
		return nil, errors.New("texts.js has no 'export const served = {', or nothing that ends it; write both at the beginning of a line")
	}
	var out words
	if err := json.Unmarshal(append(bytes.Clone(text), "\n}"...), &out); err != nil {
		return nil, fmt.Errorf("read 'served' of texts.js: %w; write it as JSON", err)
	}
	return out, nil
}

// newTemplate reads one of the page's templates, in which a text that is not there is an error.
func newTemplate(name string, text []byte) (*template.Template, error) {
	return template.New(name).Option("missingkey=error").Funcs(templateFuncs).Parse(string(text))
}

// templateFuncs are what a template may call: fill puts a value into a text.
var templateFuncs = template.FuncMap{
	"plain": plain,
	"fill": func(text any, name string, value any) string {
		return strings.ReplaceAll(fmt.Sprint(text), "{"+name+"}", fmt.Sprint(value))
	},
}
