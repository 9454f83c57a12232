package exporter_test

import (
	"fmt"
	"testing"
	"time"

	"nestmon/exporter"
)

func TestMemory(t *testing.T) {
	now := time.Date(2031, time.May, 1, 0, 0, 0, 0, time.UTC)
	ids := func(m *exporter.Memory, at time.Time, limit int) (all string) {
		due, err := m.Pending("", at, limit)
		if err != nil {
			t.Fatal(err)
		}
		for _, message := range due {
			all += message.ID + " "
		}
		return all
	}
	m := &exporter.Memory{}
	m.Put(exporter.Message{ID: "a"}, exporter.Message{ID: "morning", After: now.Add(time.Hour)}, exporter.Message{ID: "b"}, exporter.Message{ID: "c"})
	if err := m.Sent("", "b", now); err != nil {
		t.Fatal(err)
	}
	for _, row := range []struct {
		name  string
		at    time.Time
		limit int
		want  string
	}{
		{"now", now, 10, "a c "},
		{"in the morning", now.Add(time.Hour), 10, "a morning c "},
		{"one at a time", now, 1, "a "},
	} {
		if got := ids(m, row.at, row.limit); got != row.want {
			t.Errorf("%s: %q, want %q", row.name, got, row.want)
		}
	}
	for n := range 1500 {
		m.Put(exporter.Message{ID: fmt.Sprint(n)})
	}
	if due, _ := m.Pending("", now, 5000); len(due) != 1000 || due[0].ID != "500" {
		t.Errorf("%d wait, the first %q; want the newest 1000", len(due), due[0].ID)
	}
}
