package main

import (
	"reflect"
	"strings"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/token"
)

// spot is a point in a file, both counted from 1.
type spot struct{ line, col int }

func spotOf(n ast.Node) spot { return spotOfToken(n.GetToken()) }

func spotOfToken(t *token.Token) spot {
	if t == nil || t.Position == nil {
		return spot{line: 1, col: 1}
	}
	return spot{line: t.Position.Line, col: max(t.Position.Column, 1)}
}

// startOf is where a list's item begins. The token of a block of keys is its first colon, so its first key is asked.
func startOf(n ast.Node) spot {
	if entries, ok := entriesOf(n); ok && len(entries) > 0 {
		return spotOf(entries[0].Key)
	}
	return spotOf(n)
}

// entriesOf returns the keys and values of a block; an empty value is a block without keys.
func entriesOf(n ast.Node) ([]*ast.MappingValueNode, bool) {
	switch n := n.(type) {
	case *ast.MappingNode:
		return n.Values, true
	case *ast.MappingValueNode:
		return []*ast.MappingValueNode{n}, true
	case *ast.NullNode:
		return nil, true
	}
	return nil, false
}

func keyText(e *ast.MappingValueNode) string { return e.Key.GetToken().Value }

// textOf returns the text of a single value as it was written, without quotes.
func textOf(n ast.Node) (string, bool) {
	switch n := n.(type) {
	case *ast.StringNode:
		return n.Value, true
	case *ast.LiteralNode:
		return strings.TrimSuffix(n.Value.Value, "\n"), true
	case *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode, *ast.InfinityNode, *ast.NanNode:
		return n.GetToken().Value, true
	}
	return "", false
}

// describe names a node's kind without its content.
func describe(n ast.Node) string {
	switch n.(type) {
	case *ast.SequenceNode:
		return "a list"
	case *ast.MappingNode, *ast.MappingValueNode:
		return "a block of keys"
	case *ast.NullNode:
		return "empty"
	}
	return "a single value"
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

// field is one key a block may hold.
type field struct {
	key   string
	value reflect.Value
}

// fieldsOf lists the keys of a struct in the order of its fields; a field without a name of its own is no key.
func fieldsOf(v reflect.Value) []field {
	var all []field
	for i := range v.NumField() {
		key, options, _ := strings.Cut(v.Type().Field(i).Tag.Get("yaml"), ",")
		switch {
		case strings.Contains(options, "inline"):
			all = append(all, fieldsOf(v.Field(i))...)
		case key != "" && key != "-":
			all = append(all, field{key, v.Field(i)})
		}
	}
	return all
}

func keysOf(fields []field) []string {
	keys := make([]string, len(fields))
	for i, f := range fields {
		keys[i] = f.key
	}
	return keys
}
