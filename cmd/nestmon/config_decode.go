package main

import (
	"encoding"
	"fmt"
	"math"
	"os"
	"reflect"
	"regexp"
	"strconv"
	"strings"
	"time"

	"github.com/goccy/go-yaml/ast"

	"nestmon/exporter"
)

// decoder fills structs from the nodes of a YAML file and remembers where everything stands, so that whatever is found
// wrong later can be shown at its line. The library's own decoder stops at the first error and is not strict in every
// nested block.
type decoder struct {
	at    map[string]spot   // where a path's value stands
	names map[string]string // what to call a list's item: "nests[0]" -> "nests[a1]"
	bad   map[string]bool   // paths whose value could not be read
	vague map[string]bool   // blocks that hold an unknown key, which may be the one that is missing
	found []finding
	now   time.Time

	written []written // secrets in the file itself
	environ []string  // variables that hold secrets
}

func newDecoder() *decoder {
	return &decoder{at: map[string]spot{}, names: map[string]string{}, bad: map[string]bool{}, vague: map[string]bool{}}
}

// decode writes node into v. path is the node's path from the top, empty for the whole file.
func (d *decoder) decode(node ast.Node, v reflect.Value, path string) {
	switch n := node.(type) {
	case *ast.TagNode:
		d.fail(path, "tags such as "+n.Start.Value+" are not understood; write the plain value")
		return
	case *ast.AnchorNode, *ast.AliasNode:
		d.fail(path, "anchors and aliases are not understood; write the value itself")
		return
	}
	if v.Kind() == reflect.Pointer {
		if v.IsNil() {
			v.Set(reflect.New(v.Type().Elem()))
		}
		d.decode(node, v.Elem(), path)
		return
	}
	if _, ok := v.Addr().Interface().(encoding.TextUnmarshaler); ok {
		d.scalar(node, v, path)
		return
	}
	switch v.Kind() {
	case reflect.Struct:
		d.structure(node, v, path)
	case reflect.Slice:
		d.list(node, v, path)
	case reflect.Map:
		d.dictionary(node, v, path)
	default:
		d.scalar(node, v, path)
	}
}

func (d *decoder) structure(node ast.Node, v reflect.Value, path string) {
	fields := fieldsOf(v)
	entries, ok := entriesOf(node)
	if !ok {
		d.fail(path, fmt.Sprintf("this is %s; write keys and values: %s", describe(node), strings.Join(keysOf(fields), ", ")))
		return
	}
	d.name(entries, path)
	for _, e := range d.unique(entries, path) {
		key := keyText(e)
		f, known := field{}, false
		for _, have := range fields {
			if have.key == key {
				f, known = have, true
			}
		}
		if !known {
			d.vague[path] = true
			d.failAt(spotOf(e.Key), path, fmt.Sprintf("unknown key %q; %s", key, oneOf(key, keysOf(fields))))
			continue
		}
		d.decode(e.Value, f.value, d.enter(e, path, key))
	}
}

func (d *decoder) dictionary(node ast.Node, v reflect.Value, path string) {
	entries, ok := entriesOf(node)
	if !ok {
		d.fail(path, fmt.Sprintf("this is %s; write keys and values", describe(node)))
		return
	}
	if v.IsNil() {
		v.Set(reflect.MakeMap(v.Type()))
	}
	for _, e := range d.unique(entries, path) {
		at := d.enter(e, path, keyText(e))
		key, item := reflect.New(v.Type().Key()).Elem(), reflect.New(v.Type().Elem()).Elem()
		d.scalar(e.Key, key, at)
		d.decode(e.Value, item, at)
		v.SetMapIndex(key, item)
	}
}

func (d *decoder) list(node ast.Node, v reflect.Value, path string) {
	switch n := node.(type) {
	case *ast.NullNode: // a list all of whose items are commented out
		return
	case *ast.SequenceNode:
		v.Set(reflect.MakeSlice(v.Type(), len(n.Values), len(n.Values)))
		for i, item := range n.Values {
			at := fmt.Sprintf("%s[%d]", path, i)
			d.at[at] = startOf(item)
			d.decode(item, v.Index(i), at)
		}
		return
	}
	if _, isMap := entriesOf(node); isMap || v.Type().Elem().Kind() != reflect.String {
		d.fail(path, fmt.Sprintf("this is %s; write a list, each item after a dash", describe(node)))
		return
	}
	v.Set(reflect.MakeSlice(v.Type(), 1, 1)) // one word stands for a list of one
	d.at[path+"[0]"], d.names[path+"[0]"] = spotOf(node), d.show(path)
	d.decode(node, v.Index(0), path+"[0]")
}

// inEnvironment is how a secret names the environment variable that holds it.
var inEnvironment = regexp.MustCompile(`^\$\{([A-Za-z_][A-Za-z0-9_]*)\}$`)

// fromEnvironment returns what the variable holds that text names, or text itself.
func (d *decoder) fromEnvironment(text, path string) string {
	m := inEnvironment.FindStringSubmatch(text)
	if m == nil {
		return text
	}
	d.environ = append(d.environ, m[1])
	value, _ := os.LookupEnv(m[1])
	if value == "" {
		d.fail(path, fmt.Sprintf("the environment variable %s is not set; set it for whoever runs nestmon, or name a file instead", m[1]))
	}
	return value
}

// scalar writes a single value. Its text is never quoted where the target hides its own: it may be a secret.
func (d *decoder) scalar(node ast.Node, v reflect.Value, path string) {
	text, ok := textOf(node)
	if !ok {
		d.fail(path, fmt.Sprintf("this is %s; write one value, or remove the key", describe(node)))
		return
	}
	if _, secret := v.Addr().Interface().(*exporter.Secret); secret {
		d.plain(path, text)
		text = d.fromEnvironment(text, path)
	}
	if u, isText := v.Addr().Interface().(encoding.TextUnmarshaler); isText {
		if err := u.UnmarshalText([]byte(text)); err != nil {
			d.fail(path, err.Error())
		}
		return
	}
	if v.Type() == reflect.TypeFor[time.Duration]() {
		span, err := time.ParseDuration(text)
		if err != nil {
			d.fail(path, fmt.Sprintf("%q is not a duration; write a number with its unit, such as 30s, 5m or 2h", text))
		}
		v.SetInt(int64(span))
		return
	}
	number := strings.ReplaceAll(text, "_", "")
	switch v.Kind() {
	case reflect.String:
		if inEnvironment.MatchString(text) {
			d.fail(path, "only a secret may come from the environment; write the value itself")
		}
		v.SetString(text)
	case reflect.Bool:
		if text != "true" && text != "false" {
			d.fail(path, fmt.Sprintf("%q is neither yes nor no; write one of: true, false", text))
		}
		v.SetBool(text == "true")
	case reflect.Float64:
		f, err := strconv.ParseFloat(number, 64)
		if err != nil || math.IsInf(f, 0) || math.IsNaN(f) {
			such := "36.5"
			if strings.HasSuffix(path, ".shunt_ohm") {
				such = "0.1; R100 printed on it means 0.1"
			}
			d.fail(path, fmt.Sprintf("%q is not a number; write one without a unit, such as %s", text, such))
			return
		}
		v.SetFloat(f)
	case reflect.Int, reflect.Int64:
		i, err := strconv.ParseInt(number, 10, 64)
		if err != nil {
			d.fail(path, fmt.Sprintf("%q is not a whole number; write one without a unit, such as 7", text))
		}
		v.SetInt(i)
	case reflect.Uint8:
		u, err := strconv.ParseUint(number, 10, 8)
		if err != nil {
			d.fail(path, fmt.Sprintf("%q is not a whole number from 0 to 255; write one", text))
		}
		v.SetUint(u)
	case reflect.Uint16:
		u, err := strconv.ParseUint(number, 0, 16)
		if err != nil {
			d.fail(path, fmt.Sprintf("%q is not an address; write one such as 0x44", text))
		}
		v.SetUint(u)
	default:
		d.fail(path, "cannot be set in a file; remove the key")
	}
}

// name remembers what to call a list's item that has an id.
func (d *decoder) name(entries []*ast.MappingValueNode, path string) {
	for _, e := range entries {
		if id, ok := textOf(e.Value); ok && keyText(e) == "id" && strings.HasSuffix(path, "]") {
			d.names[path] = path[:strings.LastIndex(path, "[")] + "[" + id + "]"
		}
	}
}

// unique reports keys that are written twice and returns each key once.
func (d *decoder) unique(entries []*ast.MappingValueNode, path string) []*ast.MappingValueNode {
	first := map[string]int{}
	kept := entries[:0:0]
	for _, e := range entries {
		key := keyText(e)
		if line, twice := first[key]; twice {
			d.failAt(spotOf(e.Key), join(path, key), fmt.Sprintf("written twice, first in line %d; keep one", line))
			continue
		}
		first[key] = spotOf(e.Key).line
		kept = append(kept, e)
	}
	return kept
}

func (d *decoder) enter(e *ast.MappingValueNode, path, key string) string {
	at := join(path, key)
	d.at[at] = spotOf(e.Key)
	if _, single := textOf(e.Value); single {
		d.at[at] = spotOf(e.Value)
	}
	return at
}
