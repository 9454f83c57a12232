// Package tests holds what needs more than one package: the direction of imports, the catalogue of probes and sinks, and
// the checks against real services. tests/run is the one test command.
package tests

import (
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// root is the repository as seen from this package's folder.
const root = ".."

func parsed(t *testing.T, root string) []source {
	t.Helper()
	all, err := sources(root)
	if err != nil {
		t.Fatal(err)
	}
	return all
}

func TestImportsPointTheRightWay(t *testing.T) {
	all := parsed(t, root)
	if len(all) < 50 {
		t.Fatalf("only %d files found: the walk looks in the wrong place", len(all))
	}
	for _, v := range violations(all) {
		t.Error(v)
	}
}

// TestProgramIsFreeOfTools asks the go command what the program links: what makes the dashboards and checks their queries is for us.
func TestProgramIsFreeOfTools(t *testing.T) {
	list := exec.Command("go", "list", "-deps", "./cmd/nestmon")
	list.Dir = root
	out, err := list.Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	linked := strings.Fields(string(out))
	if !slices.Contains(linked, "nestmon/exporter/metrics") {
		t.Fatalf("%d packages, and not what the program needs", len(linked))
	}
	for _, pkg := range linked {
		for _, tool := range []string{"github.com/grafana/", "github.com/prometheus/prometheus", "nestmon/dashboards/grafana"} {
			if strings.HasPrefix(pkg, tool) {
				t.Errorf("nestmon links %s", pkg)
			}
		}
	}
}

func TestEveryPackageTellsItsStory(t *testing.T) {
	for _, pkg := range undocumented(parsed(t, root)) {
		t.Errorf("%s has no doc comment; begin one with the package's name", pkg)
	}
}

// TestPlantedViolations shows that the walk sees what it is there for.
func TestPlantedViolations(t *testing.T) {
	for _, row := range []struct {
		name, file, text string
		want             string // part of the complaint, empty where none may come
	}{
		{"decisions that publish", "thresholds/nest/x.go", `import "nestmon/exporter/mqtt"`, "imports nestmon/exporter/mqtt"},
		{"decisions that read files", "thresholds/x.go", `import "os"`, "do no I/O"},
		{"decisions that call out", "thresholds/brood/x.go", `import "net/http"`, "do no I/O"},
		{"decisions with a module", "thresholds/air/x.go", `import "periph.io/x/conn/v3/physic"`, "does without this module"},
		{"intervals on a library of functions", "thresholds/survival/x.go", `import "gonum.org/v1/gonum/mathext"`, ""},
		{"intervals with more of it", "thresholds/survival/x.go", `import "gonum.org/v1/gonum/mat"`, "does without this module"},
		{"decisions that look at the clock", "thresholds/x.go", "import \"time\"\nvar now = time.Now()", "uses time.Now"},
		{"under another name", "thresholds/x.go", "import clock \"time\"\nvar wait = clock.After", "uses time.After"},
		{"time that arrives", "thresholds/x.go", "import \"time\"\nfunc f(t, u time.Time) bool { return t.After(u) }", ""},
		{"decisions with a goroutine", "thresholds/x.go", "func f() { go f() }", "starts a goroutine"},
		{"decisions that borrow from the simulator", "thresholds/nest/x.go", `import "nestmon/sensors/simulated"`, "may import only"},
		{"the simulator that borrows a limit", "sensors/simulated/x.go", `import "nestmon/thresholds/brood"`, "may import only"},
		{"also in its tests", "sensors/simulated/x_test.go", `import "nestmon/thresholds/brood"`, "may import only"},
		{"a probe that publishes", "sensors/w1/x.go", `import "nestmon/exporter"`, "may import only"},
		{"a probe that knows its neighbour", "sensors/w1/x.go", `import "nestmon/sensors/kernel"`, "may import only"},
		{"a probe with a strange module", "sensors/w1/x.go", `import "github.com/prometheus/client_golang/prometheus"`, "does without"},
		{"a probe on periph", "sensors/w1/x.go", `import "periph.io/x/conn/v3/onewire"`, ""},
		{"a chip on what chips have in common", "sensors/i2c/sht4x/x.go", `import "nestmon/sensors/i2c/chip"`, ""},
		{"a chip that knows its neighbour", "sensors/i2c/sht4x/x.go", `import "nestmon/sensors/i2c/hdc302x"`, "may import only"},
		{"a chip emulated in a test", "sensors/i2c/sht4x/x_test.go", `import "nestmon/sensors/i2c/i2ctest"`, ""},
		{"a chip emulated in the program", "sensors/i2c/x.go", `import "nestmon/sensors/i2c/i2ctest"`, "for tests only"},
		{"another source on a chip", "sensors/w1/x.go", `import "nestmon/sensors/i2c/chip"`, "may import only"},
		{"probes that arrive over MQTT", "sensors/radio/x.go", `import paho "github.com/eclipse/paho.mqtt.golang"`, ""},
		{"a probe on a wire over MQTT", "sensors/w1/x.go", `import paho "github.com/eclipse/paho.mqtt.golang"`, "does without"},
		{"a probe that starts programs", "sensors/w1/x.go", `import "os/exec"`, "no child processes"},
		{"a sink that knows its neighbour", "exporter/mqtt/x.go", `import "nestmon/exporter/influx"`, "may import only"},
		{"a sink that reads a probe", "exporter/mqtt/x.go", `import "nestmon/sensors/w1"`, "may import only"},
		{"a sink that takes the page's files", "exporter/mqtt/x.go", `import "nestmon/dashboards"`, "may import only"},
		{"the page", "exporter/web/x.go", `import "nestmon/dashboards"`, ""},
		{"what is a sink's own", "exporter/mqtt/x.go", `import "nestmon/exporter/mqtt/inner"`, ""},
		{"a suite in a test", "exporter/mqtt/x_test.go", `import "nestmon/exporter/sinktest"`, ""},
		{"two sources, one chip", "sensors/w1/x.go", `import "nestmon/sensors/ds18b20"`, ""},
		{"a source that knows its neighbour", "sensors/onewire/x.go", `import "nestmon/sensors/w1"`, "may import only"},
		{"a suite in the program", "exporter/mqtt/x.go", `import "nestmon/exporter/sinktest"`, "for tests only"},
		{"a suite of another room", "exporter/mqtt/x_test.go", `import "nestmon/sensors/sourcetest"`, "for tests only"},
		{"a room nobody knows", "helpers/x.go", `import "nestmon/sensors"`, "not in the table of rooms"},
		{"the command", "cmd/nestmon/x.go", `import "nestmon/exporter/mqtt"`, ""},
		{"the command that tests", "cmd/nestmon/x.go", `import "nestmon/tests/bench"`, "may import only"},
	} {
		t.Run(row.name, func(t *testing.T) {
			got := strings.Join(violations(parsed(t, planted(t, row.file, row.text))), "\n")
			if !strings.Contains(got, row.want) || (row.want == "") != (got == "") {
				t.Errorf("got %q, want %q", got, row.want)
			}
		})
	}
}

func TestPlantedSilence(t *testing.T) {
	for _, row := range []struct {
		name, doc string
		told      bool
	}{
		{"no comment", "", false},
		{"a comment about something else", "// Copyright notice.\n", false},
		{"a story", "// Package x tells its story.\n", true},
	} {
		t.Run(row.name, func(t *testing.T) {
			dir := t.TempDir()
			if err := os.WriteFile(filepath.Join(dir, "x.go"), []byte(row.doc+"package x\n"), 0o644); err != nil {
				t.Fatal(err)
			}
			if got := len(undocumented(parsed(t, dir))) == 0; got != row.told {
				t.Errorf("told %v, want %v", got, row.told)
			}
		})
	}
}

// planted makes a tree of one file.
func planted(t *testing.T, file, text string) string {
	t.Helper()
	dir := t.TempDir()
	file = filepath.Join(dir, filepath.FromSlash(file))
	if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, []byte("package x\n"+text+"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	return dir
}
