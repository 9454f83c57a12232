//go:build promql

package query

import (
	"bufio"
	"encoding/json"
	"math"
	"net/http"
	"strconv"
	"time"

	"github.com/prometheus/prometheus/model/labels"
	"github.com/prometheus/prometheus/promql"
	"github.com/prometheus/prometheus/promql/parser"
)

// send writes a result as it goes: a month of thirty nests is megabytes of text.
func send(w http.ResponseWriter, v parser.Value, warnings, infos []string, most int) {
	w.Header().Set("Content-Type", "application/json")
	_ = http.NewResponseController(w).SetWriteDeadline(time.Now().Add(answerTimeout)) // the next query waits for who takes this one's answer
	out := encoder{bufio.NewWriter(w)}
	out.text(`{"status":"success","data":{"resultType":`)
	out.quoted(string(v.Type()))
	out.text(`,"result":`)
	switch v := v.(type) {
	case promql.Scalar:
		out.point(v.T, v.V)
	case promql.String:
		out.text("[")
		out.time(v.T)
		out.text(",")
		out.quoted(v.V)
		out.text("]")
	case promql.Vector:
		warnings = out.list(len(v), most, warnings, func(i int) {
			out.metric(v[i].Metric)
			out.text(`,"value":`)
			out.point(v[i].T, v[i].F)
		})
	case promql.Matrix:
		warnings = out.list(len(v), most, warnings, func(i int) {
			out.metric(v[i].Metric)
			out.text(`,"values":[`)
			for k, p := range v[i].Floats {
				if k > 0 {
					out.text(",")
				}
				out.point(p.T, p.F)
			}
			out.text("]")
		})
	}
	out.text("}")
	for _, said := range []struct {
		name string
		all  []string
	}{{"warnings", warnings}, {"infos", infos}} {
		if len(said.all) > 0 {
			out.text(`,"` + said.name + `":`)
			text, _ := json.Marshal(said.all) // strings always marshal
			out.text(string(text))
		}
	}
	out.text("}")
	_ = out.w.Flush() // a reader that has gone away needs no answer
}

// encoder writes JSON. An error of the reader stays in the buffer's writer.
type encoder struct{ w *bufio.Writer }

func (e encoder) text(s string) { _, _ = e.w.WriteString(s) }

func (e encoder) quoted(s string) {
	text, _ := json.Marshal(s)
	_, _ = e.w.Write(text)
}

// list writes at most that many objects, and says where it left some out.
func (e encoder) list(n, most int, warnings []string, object func(i int)) []string {
	e.text("[")
	for i := range min(n, most) {
		if i > 0 {
			e.text(",")
		}
		e.text("{")
		object(i)
		e.text("}")
	}
	e.text("]")
	if n > most {
		warnings = append(warnings, "results truncated due to limit")
	}
	return warnings
}

func (e encoder) metric(all labels.Labels) {
	e.text(`"metric":{`)
	first := true
	all.Range(func(l labels.Label) {
		if !first {
			e.text(",")
		}
		first = false
		e.quoted(l.Name)
		e.text(":")
		e.quoted(l.Value)
	})
	e.text("}")
}

// point writes [unix seconds, "value"].
func (e encoder) point(ms int64, v float64) {
	e.text("[")
	e.time(ms)
	e.text(`,"`)
	form := byte('f')
	if size := math.Abs(v); size != 0 && (size < 1e-6 || size >= 1e21) { // as Prometheus does
		form = 'e'
	}
	_, _ = e.w.Write(strconv.AppendFloat(e.w.AvailableBuffer(), v, form, -1, 64))
	e.text(`"]`)
}

func (e encoder) time(ms int64) {
	_, _ = e.w.Write(strconv.AppendFloat(e.w.AvailableBuffer(), float64(ms)/1000, 'f', -1, 64))
}
