package yearstest

import (
	"fmt"
	"strings"
)

// Config is the rabbitry's configuration: every nest with a probe of its air and one in its cluster. head is what stands above the probes; source
// says what follows an id in the line of a probe.
func (s *Story) Config(head string, source func(id string) string) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s\nprobes:\n  - {id: outside, %s}\n", head, source("outside"))
	for _, n := range s.Nests {
		for _, role := range []string{"air", "cluster"} {
			id := n.ID + "-" + role
			fmt.Fprintf(&b, "  - {id: %s, %s}\n", id, source(id))
		}
	}
	b.WriteString("outside: outside\nnests:\n")
	for _, n := range s.Nests {
		fmt.Fprintf(&b, "  - {id: %s, kind: %s, air: %s-air, cluster: [%s-cluster]}\n", n.ID, n.Kind, n.ID, n.ID)
	}
	return b.String()
}
