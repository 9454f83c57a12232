package recorded

import (
	"io"
	"maps"
	"slices"
	"strings"
	"time"

	"nestmon/sensors"
)

// Reader reads a readings file row by row. It is used by one goroutine.
type Reader struct {
	lines  *lines
	clock  clock
	header header
	width  int
	begun  bool
	err    error // of the first failure, for ever

	only   map[string]bool // nil: any probe
	probes map[string]*track
	last   time.Time // of the newest row
	row    []sensors.Reading
}

// track is what is known of one probe of the file.
type track struct {
	id   string
	last time.Time
	line int
	gaps Gaps // used by MedianIntervals alone
}

// NewReader reads r; name stands in errors, and times without an offset are in loc.
func NewReader(r io.Reader, name string, loc *time.Location) *Reader {
	return &Reader{
		lines: newLines(r, name), clock: clock{loc: loc}, probes: make(map[string]*track),
		row: make([]sensors.Reading, 0, len(sensors.Quantities)),
	}
}

// Only makes any other probe an error. It is called before the first Next.
func (r *Reader) Only(ids []string) {
	r.only = make(map[string]bool, len(ids))
	for _, id := range ids {
		r.only[id] = true
	}
}

// Next returns the readings of the next row in Quantities order, one for each field that holds a value, and io.EOF after
// the last row. The slice is overwritten by the next call. After an error every call returns it again.
func (r *Reader) Next() ([]sensors.Reading, error) {
	if r.err != nil {
		return nil, r.err
	}
	probe, at, err := r.key()
	if err == nil {
		err = r.values(probe, at)
	}
	if err != nil {
		r.err = err
		return nil, err
	}
	return r.row, nil
}

// key reads a row and its time and probe.
func (r *Reader) key() (*track, time.Time, error) {
	l := r.lines
	if !r.begun {
		h, err := readHeader(l)
		if err != nil {
			return nil, time.Time{}, err
		}
		r.header, r.width, r.begun = h, h.width(), true
	}
	if err := l.next(); err != nil {
		return nil, time.Time{}, err
	}
	if len(l.fields) != r.width {
		if len(l.text) == 0 {
			return nil, time.Time{}, l.errorf(0, "line is empty; delete it, a gap is an absent row")
		}
		return nil, time.Time{}, l.errorf(0, "row has %d fields and the header %d; write one for each column, empty where nothing was measured", len(l.fields), r.width)
	}
	at, problem := r.clock.parse(l.fields[r.header[timeColumn]])
	if problem != "" {
		return nil, at, l.errorf(l.column(r.header[timeColumn]), "time %q %s", l.fields[r.header[timeColumn]], problem)
	}
	if at.Before(r.last) {
		return nil, at, l.errorf(l.column(r.header[timeColumn]), "time %s goes back behind the row before it, %s; sort the rows by time, or write local times with an offset", at.Format(time.RFC3339Nano), r.last.Format(time.RFC3339Nano))
	}
	r.last = at
	probe, err := r.probe(l.fields[r.header[probeColumn]])
	if err != nil {
		return nil, at, err
	}
	if probe.line > 0 && at.Equal(probe.last) {
		return nil, at, l.errorf(0, "probe %s was read at %s already, in line %d; keep one row, or write the time with an offset", probe.id, at.Format(time.RFC3339Nano), probe.line)
	}
	return probe, at, nil
}

func (r *Reader) probe(id []byte) (*track, error) {
	if p := r.probes[string(id)]; p != nil {
		return p, nil
	}
	column := r.lines.column(r.header[probeColumn])
	if !sensors.ValidID(string(id)) {
		return nil, r.lines.errorf(column, "probe %q cannot be an id; write lower-case letters, digits and dashes", id)
	}
	if r.only != nil && !r.only[string(id)] {
		return nil, r.lines.errorf(column, "no probe %q is configured; write one of: %s", id, strings.Join(slices.Sorted(maps.Keys(r.only)), ", "))
	}
	p := &track{id: string(id)}
	r.probes[p.id] = p
	return p, nil
}

// values reads the rest of the row.
func (r *Reader) values(p *track, at time.Time) error {
	l := r.lines
	p.last, p.line = at, l.line
	r.row = r.row[:0]
	for _, q := range sensors.Quantities {
		i := r.header.value(q)
		if i < 0 || len(l.fields[i]) == 0 {
			continue
		}
		v, ok := number(l.fields[i])
		if !ok {
			return l.errorf(l.column(i), "%s %q is not a number; leave the field empty where nothing was measured", columns[firstValue+int(q)], l.fields[i])
		}
		r.row = append(r.row, sensors.Reading{Probe: p.id, Quantity: q, Time: at, Value: v})
	}
	if len(r.row) == 0 {
		return l.errorf(0, "row of probe %s holds no value; delete it, a gap is an absent row", p.id)
	}
	return nil
}
