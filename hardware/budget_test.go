package hardware_test

import (
	"math"
	"strconv"
	"strings"
	"testing"
)

// What the budget of power.md is computed from.
const (
	boardVolts  = 5.1  // V, raspberrypi/documentation, power-supplies.adoc
	conversion  = 0.77 // s that a DS18B20 holds its line: 0.76 to 0.79 s measured on an emulated Linux 6.1
	poll        = 30.0 // s
	hoursADay   = 24.0
	milli       = 1000.0
	cableOhms   = 0.0175 * 2 * 10 / 0.5 // Ω of 10 m of 0.5 mm² there and back; copper from memory
	cableAmpere = 0.5
)

// bareBoards are the currents in mA that raspberrypi/documentation prints for a bare board at work.
var bareBoards = map[string]float64{"Zero": 100, "Zero W": 150, "Zero 2 W, 3A+": 350, "3B+": 500, "4B": 600}

// TestPowerBudget works out every computed number of power.md anew.
func TestPowerBudget(t *testing.T) {
	tables := tablesOf(read(t, "power.md"))
	if len(tables) != 3 {
		t.Fatalf("%d tables, want boards, budget and battery", len(tables))
	}
	if len(tables[0]) != len(bareBoards) {
		t.Errorf("%d boards, want %d", len(tables[0]), len(bareBoards))
	}
	for _, row := range tables[0] {
		printed(t, row[0]+", mA", row[1], bareBoards[row[0]])
		printed(t, row[0]+", Wh", row[2], number(t, row[1])*boardVolts*hoursADay/milli)
	}
	sum := 0.0
	for _, row := range tables[1][:len(tables[1])-1] {
		wh := number(t, row[1]) * number(t, row[2]) * number(t, row[3]) * hoursADay / milli
		printed(t, row[0], row[4], wh)
		sum += wh
		if strings.Contains(row[0], "six DS18B20") {
			printed(t, "share of six probes", row[3], 6*conversion/poll)
		}
	}
	printed(t, "together", tables[1][len(tables[1])-1][4], sum)
	battery(t, tables[2], sum)
	printed(t, "loss in the cable", between(t, "(AWG 20) lose ", " V"), cableOhms*cableAmpere)
}

func battery(t *testing.T, rows [][]string, day float64) {
	t.Helper()
	for column := 1; column <= 2; column++ {
		cell := func(row int) string { return rows[row][column] }
		atBattery := day / number(t, cell(1))
		needed := atBattery * number(t, cell(3))
		whole := needed / (number(t, cell(5)) * number(t, cell(6)) * number(t, cell(7)))
		ah := whole / number(t, cell(9))
		for row, want := range map[int]float64{0: day, 2: atBattery, 4: needed, 8: whole, 10: ah} {
			printed(t, rows[row][0], cell(row), want)
		}
		if buy := number(t, cell(11)); buy < ah || buy > 1.5*ah {
			t.Errorf("%g Ah is not the next size above %g", buy, ah)
		}
	}
}

// printed fails when want, rounded to the digits of cell, is not what the cell holds.
func printed(t *testing.T, what, cell string, want float64) {
	t.Helper()
	_, decimals, _ := strings.Cut(cell, ".")
	half := 0.5000001 * math.Pow10(-len(decimals))
	if got := number(t, cell); math.Abs(got-want) > half {
		t.Errorf("%s: the page says %s, computed is %g", what, cell, want)
	}
}

func number(t *testing.T, cell string) float64 {
	t.Helper()
	n, err := strconv.ParseFloat(cell, 64)
	if err != nil {
		t.Fatalf("%q is not a number", cell)
	}
	return n
}

func between(t *testing.T, before, after string) string {
	t.Helper()
	_, rest, found := strings.Cut(strings.Join(strings.Fields(read(t, "power.md")), " "), before)
	text, _, ends := strings.Cut(rest, after)
	if !found || !ends {
		t.Fatalf("power.md has no %q", before)
	}
	return text
}

// tablesOf returns the rows of every table of a page, without head and rule.
func tablesOf(page string) [][][]string {
	var out [][][]string
	var rows [][]string
	for line := range strings.SplitSeq(page+"\n", "\n") {
		if strings.HasPrefix(line, "|") {
			cells := strings.Split(strings.Trim(line, "|"), "|")
			for i := range cells {
				cells[i] = strings.TrimSpace(cells[i])
			}
			rows = append(rows, cells)
			continue
		}
		if len(rows) > 2 {
			out = append(out, rows[2:])
		}
		rows = nil
	}
	return out
}
