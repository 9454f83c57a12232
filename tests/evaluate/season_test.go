package main

import (
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// Thirty mild days, then frost every night for five days that falls within an hour, then mild days again.
func TestSeasonScore(t *testing.T) {
	y := weatherYear{from: time.Date(2031, 9, 1, 0, 0, 0, 0, time.UTC), spacing: time.Hour}
	for h := range 60 * 24 {
		v := 12.0
		if d := h / 24; d >= 30 && d < 35 && h%24 < 6 {
			v = -4
		}
		y.air = append(y.air, v)
	}
	var s seasonScores
	if err := s.live(y); err != nil {
		t.Fatal(err)
	}
	plain, smooth, decided := s[0], s[1], s[2]
	if plain.switches != 2 || plain.frost.days != 0 || plain.frost.spells != 1 || plain.frost.told != 0 {
		t.Errorf("plain: %+v", plain)
	}
	// Means of five days come from 12 under 3 °C on the fifth night: 12 - 16·(1 - exp(-5/5)) = 1.9, and 3.2 on the fourth.
	if smooth.frost.days != 4 || smooth.frost.told != 0 {
		t.Errorf("smoothed: %+v", smooth)
	}
	if decided.frost.days != 0 || decided.frost.spells != 1 || decided.frost.told != 0 || decided.heat.spells != 0 {
		t.Errorf("as decided: %+v", decided)
	}
}

func TestReadYear(t *testing.T) {
	file := filepath.Join(t.TempDir(), "year.csv")
	rows := "time,temp_c\n2013-01-01T04:00:00Z,9\n2013-01-01T05:00:00Z,1.5\n2013-01-01T07:00:00Z,2\n2013-01-01T08:00:00Z,\n"
	if err := os.WriteFile(file, []byte(rows), 0o600); err != nil {
		t.Fatal(err)
	}
	y, err := readYear(file, -5*time.Hour)
	if err != nil {
		t.Fatal(err)
	}
	if len(y.air) != 4 || y.air[0] != 1.5 || !math.IsNaN(y.air[1]) || y.air[2] != 2 || !math.IsNaN(y.air[3]) || y.from.Hour() != 0 {
		t.Errorf("%+v", y)
	}
	if _, err := readYear(file+".none", 0); !os.IsNotExist(err) {
		t.Errorf("a file that is not there: %v", err)
	}
}
