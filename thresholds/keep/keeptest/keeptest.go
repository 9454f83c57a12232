// Package keeptest finds what a list of fields has left out.
package keeptest

import (
	"fmt"
	"reflect"
	"slices"
	"time"

	"nestmon/thresholds/keep"
)

// Forgotten walks everything that root points to and returns each field that is neither in the list of fields nor wiring:
// what is set when things are made, or worked out anew before it is used. Wiring names a field as package.Type.field, with the
// reason beside it. Pointers, slices and maps of structs are followed; what they lead to must be listed in its turn. A name
// that fits nothing, and a listed pointer that leads nowhere, are returned too.
func Forgotten(root any, fields []any, wiring map[string]string) []string {
	w := walk{listed: map[spot]bool{}, wiring: wiring, used: map[string]bool{}, been: map[spot]bool{}}
	for _, f := range fields {
		if _, isMark := f.(keep.Mark); !isMark {
			w.listed[at(reflect.ValueOf(f))] = false
		}
	}
	w.value(reflect.ValueOf(root), "root")
	for s, reached := range w.listed {
		if !reached {
			w.complain("a listed %s belongs to nothing that is reached", s.of)
		}
	}
	for name := range wiring {
		if !w.used[name] {
			w.complain("%s is called wiring and is no field", name)
		}
	}
	slices.Sort(w.missing)
	return slices.Compact(w.missing)
}

// spot is where a value lies: a struct and its first field lie at one address.
type spot struct {
	address uintptr
	of      reflect.Type
}

func at(pointer reflect.Value) spot { return spot{pointer.Pointer(), pointer.Type().Elem()} }

type walk struct {
	listed  map[spot]bool // whether it was reached
	wiring  map[string]string
	used    map[string]bool
	been    map[spot]bool
	missing []string
}

func (w *walk) complain(format string, args ...any) {
	w.missing = append(w.missing, fmt.Sprintf(format, args...))
}

func (w *walk) value(v reflect.Value, name string) {
	if v.CanAddr() {
		s := spot{v.UnsafeAddr(), v.Type()}
		if _, is := w.listed[s]; is {
			w.listed[s] = true
			return
		}
	}
	switch {
	case v.Kind() == reflect.Pointer && !v.IsNil():
		if s := at(v); !w.been[s] {
			w.been[s] = true
			w.value(v.Elem(), name)
		}
	case v.Kind() == reflect.Struct && v.Type() != reflect.TypeFor[time.Time]():
		for i := range v.NumField() {
			field := v.Type().String() + "." + v.Type().Field(i).Name
			if _, is := w.wiring[field]; is {
				w.used[field] = true
				continue
			}
			w.value(v.Field(i), field)
		}
	case leads(v) && v.Kind() == reflect.Map:
		for it := v.MapRange(); it.Next(); {
			w.value(it.Value(), name)
		}
	case leads(v):
		for i := range v.Len() {
			w.value(v.Index(i), name)
		}
	default:
		w.complain("%s is neither listed nor called wiring", name)
	}
}

// leads reports whether v is a collection, not empty, of what may hold listed fields.
func leads(v reflect.Value) bool {
	switch v.Kind() {
	case reflect.Map, reflect.Slice, reflect.Array:
	default:
		return false
	}
	switch v.Type().Elem().Kind() {
	case reflect.Pointer, reflect.Struct, reflect.Array:
		return v.Len() > 0 && v.Type().Elem() != reflect.TypeFor[time.Time]()
	}
	return false
}
