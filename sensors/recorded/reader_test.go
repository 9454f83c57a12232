package recorded_test

import (
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"nestmon/sensors"
	"nestmon/sensors/recorded"
)

func berlin(t testing.TB) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Skipf("no time zones on this machine: %v", err)
	}
	return loc
}

// all reads a file and prints each reading as time probe quantity value.
func all(r *recorded.Reader) (got []string, err error) {
	for {
		row, err := r.Next()
		if errors.Is(err, io.EOF) {
			return got, nil
		}
		if err != nil {
			return got, err
		}
		for _, x := range row {
			got = append(got, fmt.Sprintf("%s %s %s %v", x.Time.Format(time.RFC3339Nano), x.Probe, x.Quantity, x.Value))
		}
	}
}

func TestRowsThatAreRead(t *testing.T) {
	const at = "2031-03-09T06:00:00Z"
	for _, row := range []struct {
		name, file string
		want       []string
	}{
		{"all columns", "time,probe,temperature_c,humidity_pct,co2_ppm\n" + at + ",a1,36.52,61.2,812\n", []string{at + " a1 temperature 36.52", at + " a1 humidity 61.2", at + " a1 co2 812"}},
		{"columns in any order", "co2_ppm,temperature_c,probe,time\n812,36.52,a1," + at + "\n", []string{at + " a1 temperature 36.52", at + " a1 co2 812"}},
		{"empty fields", "time,probe,temperature_c,humidity_pct,co2_ppm\n" + at + ",a1,,61.2,\n", []string{at + " a1 humidity 61.2"}},
		{"no line end at the end", "time,probe,temperature_c\n" + at + ",a1,36", []string{at + " a1 temperature 36"}},
		{"lines of another system", "time,probe,temperature_c\r\n" + at + ",a1,36\r\n", []string{at + " a1 temperature 36"}},
		{"as a spreadsheet saves it", "\ufefftime,probe,temperature_c\n" + at + ",a1,36\n", []string{at + " a1 temperature 36"}},
		{"quoted fields", "\"time\",probe,\"temperature_c\"\n\"" + at + "\",\"a1\",\"36.5\"\n", []string{at + " a1 temperature 36.5"}},
		{"quoted and empty", "time,probe,temperature_c,humidity_pct\n" + at + ",a1,\"\",5\n", []string{at + " a1 humidity 5"}},
		{"two probes at one time", "time,probe,temperature_c\n" + at + ",a1,36\n" + at + ",a2,35\n", []string{at + " a1 temperature 36", at + " a2 temperature 35"}},
		{"offset", "time,probe,temperature_c\n2031-03-09T07:30:00+01:30,a1,36\n", []string{at + " a1 temperature 36"}},
		{"offset over midnight", "time,probe,temperature_c\n2031-03-08T23:00:00-07:00,a1,36\n", []string{at + " a1 temperature 36"}},
		{"fraction of a second", "time,probe,temperature_c\n2031-03-09T06:00:00.125Z,a1,36\n", []string{"2031-03-09T06:00:00.125Z a1 temperature 36"}},
		{"below zero, signs and exponents", "time,probe,temperature_c,humidity_pct,co2_ppm\n" + at + ",a1,-0.0625,+5e1,1E3\n", []string{at + " a1 temperature -0.0625", at + " a1 humidity 50", at + " a1 co2 1000"}},
		{"impossible values are for the screen to judge", "time,probe,temperature_c,humidity_pct\n" + at + ",a1,85,104\n", []string{at + " a1 temperature 85", at + " a1 humidity 104"}},
		{"leap day, and the day after", "time,probe,temperature_c\n2032-02-29T06:00:00Z,a1,1\n2032-03-01T06:00:00Z,a1,2\n", []string{"2032-02-29T06:00:00Z a1 temperature 1", "2032-03-01T06:00:00Z a1 temperature 2"}},
		{"a battery", "time,probe,voltage_v\n" + at + ",bank,12.61\n", []string{at + " bank voltage 12.61"}},
		{"header alone", "time,probe,temperature_c\n", nil},
	} {
		t.Run(row.name, func(t *testing.T) {
			got, err := all(recorded.NewReader(strings.NewReader(row.file), "R.csv", time.UTC))
			if err != nil || !slices.Equal(got, row.want) {
				t.Errorf("got %q, %v\nwant %q", got, err, row.want)
			}
		})
	}
}

func TestLocalTimes(t *testing.T) {
	for _, row := range []struct{ name, local, want string }{
		{"bare date is midnight", "2031-01-09", "2031-01-08T23:00:00Z"},
		{"summer", "2031-07-09T06:00:00", "2031-07-09T04:00:00Z"},
		{"minutes", "2031-01-09T06:05", "2031-01-09T05:05:00Z"},
		{"space instead of T", "2031-01-09 06:05:07", "2031-01-09T05:05:07Z"},
		{"the hour that comes twice is the first", "2031-10-26T02:30:00", "2031-10-26T00:30:00Z"},
		{"before it", "2031-10-26T01:59:59", "2031-10-25T23:59:59Z"},
		{"after it", "2031-10-26T03:00:00", "2031-10-26T02:00:00Z"},
	} {
		t.Run(row.name, func(t *testing.T) {
			got, err := all(recorded.NewReader(strings.NewReader("time,probe,temperature_c\n"+row.local+",a1,1\n"), "R.csv", berlin(t)))
			if want := row.want + " a1 temperature 1"; err != nil || len(got) != 1 || got[0] != want {
				t.Errorf("got %q, %v; want %s", got, err, want)
			}
		})
	}
}

func TestADayThatBeginsAtOne(t *testing.T) {
	havana, err := time.LoadLocation("America/Havana") // clocks go forward at midnight of the second Sunday of March
	if err != nil {
		t.Skipf("no time zones on this machine: %v", err)
	}
	got, err := all(recorded.NewReader(strings.NewReader("time,probe,temperature_c\n2025-03-09,a1,1\n"), "R.csv", havana))
	if want := "2025-03-09T05:00:00Z a1 temperature 1"; err != nil || len(got) != 1 || got[0] != want {
		t.Errorf("got %q, %v; want %s", got, err, want)
	}
}

func TestFilesThatAreRefused(t *testing.T) {
	const head = "time,probe,temperature_c,humidity_pct\n"
	const good = "2031-03-09T06:00:00Z,a1,36,60\n"
	for _, row := range []struct{ name, file, want string }{
		{"empty file", "", "R.csv:1:1: file is empty; the first line must be time,probe,temperature_c,humidity_pct,co2_ppm"},
		{"extra columns", "time,probe,temperature_c,mood,rain\n", `R.csv:1:1: unknown columns "mood", "rain"; write only time, probe, `},
		{"column twice", "time,probe,time,temperature_c\n", "R.csv:1:12: column time is there twice; remove one"},
		{"no probe column", "time,temperature_c\n", "R.csv:1:1: columns time and probe must both be there"},
		{"no value column", "time,probe\n", "R.csv:1:1: no column holds a value; add one of temperature_c, "},
		{"dash", head + "2031-03-09T06:00:00Z,a1,-,60\n", `R.csv:2:25: temperature_c "-" is not a number; leave the field empty`},
		{"nan", head + good + "2031-03-09T06:01:00Z,a1,36,nan\n", `R.csv:3:28: humidity_pct "nan" is not a number`},
		{"infinite", head + "2031-03-09T06:00:00Z,a1,inf,60\n", `R.csv:2:25: temperature_c "inf" is`},
		{"hexadecimal", head + "2031-03-09T06:00:00Z,a1,0x1p4,60\n", `R.csv:2:25: temperature_c "0x1p4" is`},
		{"comma for a point", head + "2031-03-09T06:00:00Z,a1,36,5,60\n", "R.csv:2:1: row has 5 fields and the header 4"},
		{"unit", head + "2031-03-09T06:00:00Z,a1,36 C,60\n", `R.csv:2:25: temperature_c "36 C" is`},
		{"no value", head + "2031-03-09T06:00:00Z,a1,,\n", "R.csv:2:1: row of probe a1 holds no value; delete it, a gap is an absent row"},
		{"empty line", head + "\n" + good, "R.csv:2:1: line is empty; delete it"},
		{"too few fields", head + "2031-03-09T06:00:00Z,a1\n", "R.csv:2:1: row has 2 fields and the header 4"},
		{"back in time", head + good + "2031-03-09T05:59:59Z,a2,36,60\n", "R.csv:3:1: time 2031-03-09T05:59:59Z goes back behind the row before it, 2031-03-09T06:00:00Z; sort the rows"},
		{"said twice", head + good + "2031-03-09T06:00:00Z,a2,1,1\n" + good, "R.csv:4:1: probe a1 was read at 2031-03-09T06:00:00Z already, in line 2; keep one row"},
		{"the same instant in two spellings", head + good + "2031-03-09T07:00:00+01:00,a1,36,60\n", "R.csv:3:1: probe a1 was read at"},
		{"word for a time", head + "yesterday,a1,36,60\n", `R.csv:2:1: time "yesterday" is not a time; write it as 2031-03-09T06:00:00Z`},
		{"day no calendar has", head + "2031-02-29T06:00:00Z,a1,36,60\n", `R.csv:2:1: time "2031-02-29T06:00:00Z" is a day that no calendar has`},
		{"hour 24", head + "2031-03-09T24:00:00Z,a1,36,60\n", `R.csv:2:1: time "2031-03-09T24:00:00Z" is not a time`},
		{"bad offset", head + "2031-03-09T06:00:00+1,a1,36,60\n", `R.csv:2:1: time "2031-03-09T06:00:00+1" ends in something that is not an offset`},
		{"hour that is skipped", head + "2031-03-30T02:30:00,a1,36,60\n", `R.csv:2:1: time "2031-03-30T02:30:00" does not exist in Europe/Berlin, clocks were set forward`},
		{"bad id", head + "2031-03-09T06:00:00Z,A 1,36,60\n", `R.csv:2:22: probe "A 1" cannot be an id`},
		{"unknown id", head + "2031-03-09T06:00:00Z,b7,36,60\n", `R.csv:2:22: no probe "b7" is configured; write one of: a1, a2`},
		{"quote left open", head + "2031-03-09T06:00:00Z,\"a1,36,60\n", "R.csv:2:22: quoted field does not end on its line"},
		{"text after a quote", head + "2031-03-09T06:00:00Z,\"a1\"x,36,60\n", "R.csv:2:26: text after a closing quote"},
		{"doubled quotes are one", head + "2031-03-09T06:00:00Z,\"a\"\"1\",36,60\n", `R.csv:2:22: probe "a\"1" cannot be an id`},
		{"comma between quotes", head + "2031-03-09T06:00:00Z,\"a,1\",36,60\n", `R.csv:2:22: probe "a,1" cannot be an id`},
		{"quote inside", head + "2031-03-09T06:00:00Z,a\"1,36,60\n", "R.csv:2:23: quote inside a field"},
		{"no CSV at all", strings.Repeat("x", 1<<17), "R.csv:1:1: line is longer than 65536 bytes; is this a CSV file?"},
	} {
		t.Run(row.name, func(t *testing.T) {
			r := recorded.NewReader(strings.NewReader(row.file), "R.csv", berlin(t))
			r.Only([]string{"a2", "a1"})
			_, err := all(r)
			if err == nil || !strings.HasPrefix(err.Error(), row.want) {
				t.Errorf("got  %v\nwant %s …", err, row.want)
			}
			if _, again := r.Next(); again == nil || again.Error() != err.Error() {
				t.Errorf("the error was forgotten: then %v", again)
			}
		})
	}
}

func TestReadFailureIsNotTheEnd(t *testing.T) {
	broken := io.MultiReader(strings.NewReader("time,probe,temperature_c\n2031-03-09T06:00:00Z,a1,1\n"), failing{})
	got, err := all(recorded.NewReader(broken, "R.csv", time.UTC))
	if len(got) != 1 || !errors.Is(err, io.ErrNoProgress) || !strings.HasPrefix(err.Error(), "R.csv: read after line 2:") {
		t.Errorf("got %q, %v", got, err)
	}
}

type failing struct{}

func (failing) Read([]byte) (int, error) { return 0, io.ErrNoProgress }

// The two parsers of our own against the standard library's, on the spellings they meet.
func TestNumbersAndTimesAgreeWithTheStandardLibrary(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 20000 {
		text := strconv.FormatFloat((rng.Float64()-0.5)*200, 'f', rng.IntN(18), 64)
		want, err := strconv.ParseFloat(text, 64)
		if err != nil {
			t.Fatal(err)
		}
		at := time.Unix(rng.Int64N(4e9), int64(rng.IntN(1000))*1e6).In(time.FixedZone("", (rng.IntN(27)-12)*3600))
		stamp := at.Format(time.RFC3339Nano)
		row, err := recorded.NewReader(strings.NewReader("time,probe,temperature_c\n"+stamp+",a1,"+text+"\n"), "R.csv", time.UTC).Next()
		if err != nil || row[0].Value != want || !row[0].Time.Equal(at) {
			t.Fatalf("%s %s: got %+v, %v; want %v at %v", stamp, text, row, err, want, at)
		}
	}
}

func TestReadingAllocatesNothingForARow(t *testing.T) {
	r := recorded.NewReader(strings.NewReader(log(2000)), "R.csv", time.UTC)
	for range 50 { // the probes are known by then
		if _, err := r.Next(); err != nil {
			t.Fatal(err)
		}
	}
	if n := testing.AllocsPerRun(1000, func() {
		if _, err := r.Next(); err != nil {
			t.Fatal(err)
		}
	}); n != 0 {
		t.Errorf("got %v allocations for each row", n)
	}
}

// log is n rows of nine probes every 30 s.
func log(n int) string {
	var b strings.Builder
	b.WriteString("time,probe,temperature_c,humidity_pct,co2_ppm\n")
	at := time.Date(2031, 3, 9, 6, 0, 0, 0, time.UTC)
	for i := range n {
		id, poll := i%9, i/9
		fmt.Fprintf(&b, "%s,nest-%d-air,%.2f,%.2f,\n", at.Add(time.Duration(poll)*30*time.Second).Format(time.RFC3339), id, 20+float64(poll%500)/50, 50+float64(i%40)/4)
	}
	return b.String()
}

func TestMedianIntervals(t *testing.T) {
	file := `time,probe,temperature_c
2031-03-09T06:00:00Z,a1,1
2031-03-09T06:00:00Z,once,1
2031-03-09T06:00:30Z,a1,1
2031-03-09T06:00:31Z,a2,1
2031-03-09T06:01:00Z,a1,1
2031-03-09T07:00:31Z,a2,1
2031-03-09T09:00:00Z,a1,1
`
	got, err := recorded.MedianIntervals(strings.NewReader(file), "R.csv", time.UTC)
	if err != nil || len(got) != 2 || got["a1"] != 30*time.Second || got["a2"] != time.Hour {
		t.Errorf("got %v, %v; want 30 s for a1, 1 h for a2, nothing for a probe read once", got, err)
	}
	_, err = recorded.MedianIntervals(strings.NewReader(file+"2031-03-09T08:00:00Z,a1,1\n"), "R.csv", time.UTC)
	if err == nil || !strings.HasPrefix(err.Error(), "R.csv:9:1: time 2031-03-09T08:00:00Z goes back") {
		t.Errorf("got %v", err)
	}
}

func TestProbeOfAFile(t *testing.T) {
	got := recorded.ProbeConfig{Entry: sensors.Entry{ID: "a1"}, Chip: "sht45"}.Probe(time.Minute)
	if got.Chip != sensors.ChipSHT4x || got.Interval != time.Minute || got.StaleAfter != 3*time.Minute || !got.Measures(sensors.CO2) {
		t.Errorf("got %+v", got)
	}
	var problems []string
	recorded.ProbeConfig{Entry: sensors.Entry{ID: "a1"}, Chip: "abacus"}.Validate(func(path, problem string) { problems = append(problems, path+": "+problem) })
	if len(problems) != 1 || !strings.HasPrefix(problems[0], `chip: "abacus" is unknown; write one of: `) {
		t.Errorf("got %q", problems)
	}
}
