package main

import (
	"encoding/json"
	"strings"
	"testing"
)

// What was learned of a nest stands under the table, a line for each sentence; a nest of which nothing is said has none.
func TestStatusTellsWhatWasLearned(t *testing.T) {
	var s stateView
	if err := json.Unmarshal([]byte(`{"nests": [
		{"id": "oak", "learned": {"text": ["Runs 2.2 °C (4.0 °F) ± 0.8 °C colder at night than its neighbours, 6 nights.", "Another sentence."]}},
		{"id": "elm", "learned": {"text": []}}]}`), &s); err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	s.write(&out, &config{})
	want := "learned  oak: Runs 2.2 °C (4.0 °F) ± 0.8 °C colder at night than its neighbours, 6 nights.\n         Another sentence.\n"
	if !strings.Contains(out.String(), want) || strings.Contains(out.String(), "learned  elm") {
		t.Errorf("got:\n%s", out.String())
	}
}
