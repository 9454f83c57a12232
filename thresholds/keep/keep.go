// Package keep writes what a program remembers into a few bytes and reads it back, so that it goes on as if it had not stopped.
//
// Whatever remembers something lists pointers to its fields; one list is the state of everything. A Mark in the list is no
// state: it names what the pointers after it belong to. Bytes written for other types, in another order or between other marks
// are foreign and refused whole, and so are bytes that changed on the way. After an error nothing has been changed.
//
// Kept are numbers (NaN too), truth values, texts, times, and arrays, slices, maps and structs of them, or pointers to those; a struct must export
// all its fields, or list them itself. Anything else is a mistake of the list and panics. A time keeps its instant and its
// zone's offset, and its place where that is the given one; the monotonic clock it came from ends with the program.
package keep

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"math/bits"
	"reflect"
	"slices"
	"strconv"
	"time"
)

// Mark names a part of the list. It must be the same when the state is read as when it was written.
type Mark string

// The reasons to refuse a state.
var (
	ErrForeign = errors.New("it was written by another version or for another configuration")
	ErrDamaged = errors.New("it is damaged")
)

const sumSize = 8 // bytes of a checksum: no defence against anybody, only against wear

// Write returns the state that fields point to.
func Write(place *time.Location, fields []any) []byte {
	w := writer{place: place, out: layout(fields)}
	for _, f := range fields {
		if _, isMark := f.(Mark); !isMark {
			w.value(reflect.ValueOf(f).Elem())
		}
	}
	return append(w.out, sum(w.out)...)
}

// Read puts the state back where fields point.
func Read(place *time.Location, state []byte, fields []any) error {
	end := len(state) - sumSize
	if end < sumSize || !bytes.Equal(sum(state[:end]), state[end:]) {
		return ErrDamaged
	}
	if !bytes.Equal(layout(fields), state[:sumSize]) {
		return ErrForeign
	}
	r := reader{place: place, in: bytes.NewReader(state[sumSize:end])}
	var to, read []reflect.Value
	for _, f := range fields {
		if _, isMark := f.(Mark); isMark {
			continue
		}
		v := reflect.ValueOf(f).Elem()
		to, read = append(to, v), append(read, reflect.New(v.Type()).Elem())
		r.value(read[len(read)-1])
	}
	if r.failed || r.in.Len() > 0 {
		return ErrDamaged
	}
	for i := range to {
		to[i].Set(read[i])
	}
	return nil
}

func sum(b []byte) []byte {
	s := sha256.Sum256(b)
	return s[:sumSize]
}

// layout is the fingerprint of a list: its marks, and the types it points to with all that they are made of.
func layout(fields []any) []byte {
	var text []byte // without fmt, which would take longer than all else that writes a state
	for _, f := range fields {
		if m, isMark := f.(Mark); isMark {
			text = append(strconv.AppendQuote(append(text, "mark "...), string(m)), '\n')
			continue
		}
		text = describe(text, reflect.TypeOf(f).Elem())
	}
	return sum(text)
}

var timeType = reflect.TypeFor[time.Time]()

func describe(to []byte, t reflect.Type) []byte {
	to = append(append(append(append(to, t.Kind().String()...), ' '), t.String()...), '\n')
	switch {
	case t == timeType:
	case t.Kind() == reflect.Struct:
		for i := range t.NumField() {
			f := t.Field(i)
			to = describe(append(append(to, f.Name...), ' '), f.Type)
		}
	case t.Kind() == reflect.Map:
		to = describe(describe(to, t.Key()), t.Elem())
	case t.Kind() == reflect.Array, t.Kind() == reflect.Slice, t.Kind() == reflect.Pointer:
		to = describe(to, t.Elem())
	}
	return to
}

type writer struct {
	place *time.Location
	out   []byte
}

func (w *writer) value(v reflect.Value) {
	if v.Type() == timeType {
		w.time(v.Interface().(time.Time))
		return
	}
	switch v.Kind() {
	case reflect.Bool:
		w.flag(v.Bool())
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		w.out = binary.AppendVarint(w.out, v.Int())
	case reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64:
		w.out = binary.AppendUvarint(w.out, v.Uint())
	case reflect.Float32:
		w.out = binary.LittleEndian.AppendUint32(w.out, math.Float32bits(float32(v.Float())))
	case reflect.Float64:
		w.out = binary.AppendUvarint(w.out, bits.ReverseBytes64(math.Float64bits(v.Float()))) // short for zero and round values
	case reflect.String:
		w.out = binary.AppendUvarint(w.out, uint64(v.Len()))
		w.out = append(w.out, v.String()...)
	case reflect.Array:
		for i := range v.Len() {
			w.value(v.Index(i))
		}
	case reflect.Slice:
		w.out = binary.AppendUvarint(w.out, uint64(v.Len()))
		for i := range v.Len() {
			w.value(v.Index(i))
		}
	case reflect.Map:
		w.out = binary.AppendUvarint(w.out, uint64(v.Len()))
		keys := v.MapKeys()
		slices.SortFunc(keys, func(a, b reflect.Value) int { return cmp.Compare(a.String(), b.String()) })
		for _, k := range keys {
			w.value(k)
			w.value(v.MapIndex(k))
		}
	case reflect.Pointer:
		if w.flag(!v.IsNil()) {
			w.value(v.Elem())
		}
	case reflect.Struct: // most are empty most of the time
		if w.flag(!v.IsZero()) {
			for i := range v.NumField() {
				w.value(v.Field(i))
			}
		}
	default:
		panic(fmt.Sprintf("keep: a %s cannot be kept", v.Type()))
	}
}

func (w *writer) flag(on bool) bool {
	if on {
		w.out = append(w.out, 1)
	} else {
		w.out = append(w.out, 0)
	}
	return on
}

// How the place of a time is written.
const (
	never = iota // the zero time
	inUTC
	here // the given place
	elsewhere
)

func (w *writer) time(t time.Time) {
	place := t.Location()
	switch {
	case t.IsZero() && place == time.UTC:
		w.out = append(w.out, never)
		return
	case place == time.UTC:
		w.out = append(w.out, inUTC)
	case place.String() == w.place.String():
		w.out = append(w.out, here)
	default:
		_, offset := t.Zone()
		w.out = binary.AppendVarint(append(w.out, elsewhere), int64(offset))
	}
	w.out = binary.AppendVarint(w.out, t.Unix())
	w.out = binary.AppendUvarint(w.out, uint64(t.Nanosecond()))
}

type reader struct {
	place  *time.Location
	in     *bytes.Reader
	failed bool
}

func (r *reader) value(v reflect.Value) {
	if v.Type() == timeType {
		v.Set(reflect.ValueOf(r.time()))
		return
	}
	switch v.Kind() {
	case reflect.Bool:
		v.SetBool(r.byte() != 0)
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		v.SetInt(r.varint())
	case reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64:
		v.SetUint(r.uvarint())
	case reflect.Float32:
		v.SetFloat(float64(math.Float32frombits(binary.LittleEndian.Uint32(r.bytes(4)))))
	case reflect.Float64:
		v.SetFloat(math.Float64frombits(bits.ReverseBytes64(r.uvarint())))
	case reflect.String:
		v.SetString(string(r.bytes(r.length())))
	case reflect.Array:
		for i := range v.Len() {
			r.value(v.Index(i))
		}
	case reflect.Slice:
		n := r.length()
		if n == 0 {
			return
		}
		v.Set(reflect.MakeSlice(v.Type(), n, n))
		for i := range n {
			r.value(v.Index(i))
		}
	case reflect.Map:
		v.Set(reflect.MakeMap(v.Type()))
		for range r.length() {
			k, e := reflect.New(v.Type().Key()).Elem(), reflect.New(v.Type().Elem()).Elem()
			r.value(k)
			r.value(e)
			v.SetMapIndex(k, e)
		}
	case reflect.Pointer:
		if r.byte() != 0 {
			v.Set(reflect.New(v.Type().Elem()))
			r.value(v.Elem())
		}
	case reflect.Struct:
		if r.byte() != 0 {
			for i := range v.NumField() {
				r.value(v.Field(i))
			}
		}
	default:
		panic(fmt.Sprintf("keep: a %s cannot be kept", v.Type()))
	}
}

func (r *reader) time() time.Time {
	var place *time.Location
	switch r.byte() {
	case never:
		return time.Time{}
	case inUTC:
		place = time.UTC
	case here:
		place = r.place
	default:
		place = time.FixedZone("", int(r.varint()))
	}
	return time.Unix(r.varint(), int64(r.uvarint())).In(place)
}

// length is that of a text, a slice or a map: each part of one takes at least a byte.
func (r *reader) length() int {
	n := r.uvarint()
	if n > uint64(r.in.Len()) {
		r.failed = true
		return 0
	}
	return int(n)
}

func (r *reader) byte() byte { return r.bytes(1)[0] }

func (r *reader) bytes(n int) []byte {
	b := make([]byte, n)
	_, err := io.ReadFull(r.in, b)
	r.failed = r.failed || err != nil
	return b
}

func (r *reader) varint() int64 {
	n, err := binary.ReadVarint(r.in)
	r.failed = r.failed || err != nil
	return n
}

func (r *reader) uvarint() uint64 {
	n, err := binary.ReadUvarint(r.in)
	r.failed = r.failed || err != nil
	return n
}
