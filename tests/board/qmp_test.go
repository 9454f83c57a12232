package board_test

import (
	"bufio"
	"encoding/json"
	"net"
	"testing"
)

// monitor is the emulator's machine protocol (QEMU's documentation, interop/qmp-spec), by which the chips are warmed and cooled.
type monitor struct {
	m    *machine
	conn net.Conn
	in   *bufio.Scanner
}

func watchChips(t *testing.T, m *machine, socket string) *monitor {
	t.Helper()
	conn, err := net.Dial("unix", socket)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	q := &monitor{m: m, conn: conn, in: bufio.NewScanner(conn)}
	q.in.Scan() // the greeting
	q.execute("qmp_capabilities", struct{}{})
	return q
}

func (q *monitor) execute(command string, arguments any) {
	q.m.t.Helper()
	if err := json.NewEncoder(q.conn).Encode(map[string]any{"execute": command, "arguments": arguments}); err != nil {
		q.m.t.Fatal(err)
	}
	for q.in.Scan() { // events come in between
		var answer struct {
			Return json.RawMessage
			Error  *struct{ Desc string }
		}
		switch err := json.Unmarshal(q.in.Bytes(), &answer); {
		case err != nil:
			q.m.t.Fatalf("%s: %v in %s", command, err, q.in.Bytes())
		case answer.Error != nil:
			q.m.t.Fatalf("%s %v: %s", command, arguments, answer.Error.Desc)
		case answer.Return != nil:
			return
		}
	}
	q.m.t.Fatalf("%s: no answer: %v", command, q.in.Err())
}

// warm sets what a chip measures, in thousandths of a degree Celsius. The tmp421 has several such properties.
func (q *monitor) warm(chip, property string, milliC int) {
	q.m.t.Helper()
	q.execute("qom-set", map[string]any{"path": "/machine/peripheral/" + chip, "property": property, "value": milliC})
}
