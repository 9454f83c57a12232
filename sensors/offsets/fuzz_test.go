package offsets_test

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"nestmon/sensors/offsets"
)

// FuzzOffsets: whatever the file holds, no offset counts that a person could not have entered, and none keeps the daemon from starting.
func FuzzOffsets(f *testing.F) {
	good, err := json.Marshal(record("28-000000000001", -0.31))
	if err != nil {
		f.Fatal(err)
	}
	for _, text := range []string{"", "\n\n", string(good), string(good) + "\n" + string(good[:20]), `{"source":"w1","identity":"28-000000000001","time":"2031-11-02T23:30:00Z","temperature":1e9}`, "{}\n[]\nnull\n\x00"} {
		f.Add([]byte(text))
	}
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, text []byte) {
		if err := os.WriteFile(filepath.Join(dir, offsets.File), text, 0o600); err != nil {
			t.Fatal(err)
		}
		book, _, err := offsets.Load(dir, time.Date(2031, 11, 3, 0, 0, 0, 0, time.UTC), time.UTC)
		if err != nil {
			t.Fatalf("%q: %v", text, err)
		}
		for _, r := range book {
			o := r.Offset(time.UTC)
			if math.Abs(o.Temperature) > 3 || math.Abs(o.Humidity) > 10 || o.Date == "" {
				t.Errorf("%q: %+v counts", text, o)
			}
		}
	})
}
