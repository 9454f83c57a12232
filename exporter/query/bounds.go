//go:build promql

package query

import (
	"cmp"
	"fmt"
	"math"
	"net/http"
	"time"

	"github.com/prometheus/prometheus/promql/parser"
)

// Bounds that the engine lacks, ours, no source.
const (
	longestExpression = 4 << 10  // bytes
	longestLabel      = 64 << 10 // bytes of a label's value that an expression can make
	usualLabel        = 256      // bytes, above what the configuration's ids are
	mostSteps         = 100_000  // of a subquery: the engine counts each, in 16 bytes, before it works
)

// bounded refuses what would take memory without end: a subquery of many steps, labels that label_join and label_replace make of each other
// and that double each time, and count_values, which makes a series of every value it meets. span is from the first step to the last.
func bounded(text string, span time.Duration) error {
	expr, err := parser.NewParser(parser.Options{}).ParseExpr(text)
	if err != nil {
		return err
	}
	refused := func(format string, args ...any) error {
		return fault{http.StatusUnprocessableEntity, "execution", fmt.Sprintf(format, args...)}
	}
	if n := labelLength(expr); n > longestLabel {
		return refused("the expression could make labels longer than %d bytes; join fewer", longestLabel)
	}
	return parser.Walk(visitor(func(n parser.Node, path []parser.Node) error {
		whole := span + inner(path)
		switch n := n.(type) {
		case *parser.AggregateExpr:
			if n.Op == parser.COUNT_VALUES && whole > 0 {
				return refused("count_values would make a series of every value of the span; ask for it at one instant with query")
			}
		case *parser.SubqueryExpr:
			if step := cmp.Or(n.Step, defaultStep); (whole+n.Range)/step > mostSteps {
				return refused("the subquery has more than %d steps; write a longer step behind its colon", mostSteps)
			}
		}
		return nil
	}), expr, nil)
}

// inner is by how much longer than the whole a span is within the subqueries of a path.
func inner(path []parser.Node) (longer time.Duration) {
	for _, n := range path {
		if sub, ok := n.(*parser.SubqueryExpr); ok {
			longer = min(longer, math.MaxInt64/2) + min(sub.Range, math.MaxInt64/4)
		}
	}
	return longer
}

// visitor is called for every node; its error ends the walk.
type visitor func(n parser.Node, path []parser.Node) error

// Visit satisfies parser.Visitor.
func (v visitor) Visit(n parser.Node, path []parser.Node) (parser.Visitor, error) {
	if n == nil {
		return nil, nil
	}
	return v, v(n, path)
}

// labelLength is a bound of the longest label's value that an expression makes, at most a little above longestLabel.
func labelLength(n parser.Node) int {
	longest := usualLabel
	for child := range parser.ChildrenIter(n) {
		longest = max(longest, labelLength(child))
	}
	call, ok := n.(*parser.Call)
	if !ok {
		return min(longest, longestLabel+1)
	}
	text := func(i int) string {
		if i < len(call.Args) {
			arg := call.Args[i]
			for p, ok := arg.(*parser.ParenExpr); ok; p, ok = arg.(*parser.ParenExpr) {
				arg = p.Expr
			}
			if s, ok := arg.(*parser.StringLiteral); ok {
				return s.Val
			}
		}
		return ""
	}
	switch call.Func.Name {
	case "label_join": // (vector, destination, separator, sources…)
		if n := len(call.Args) - 3; n > 0 {
			longest = max(longest, n*(longest+len(text(2))))
		}
	case "label_replace": // (vector, destination, replacement, source, pattern); each byte of the replacement may stand for a group
		longest = max(longest, len(text(2))/2*longest+len(text(2)))
	}
	return min(longest, longestLabel+1)
}
