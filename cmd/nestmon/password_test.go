package main

import (
	"bytes"
	"strings"
	"testing"

	"golang.org/x/crypto/bcrypt"
)

func TestPasswordPrintsTheLineOfTheFile(t *testing.T) {
	for _, row := range []struct {
		name, in string
		word     string // empty where it is refused
		want     string // part of the complaint
	}{
		{"a line", "willow and hazel\n", "willow and hazel", ""},
		{"without an end", "willow and hazel", "willow and hazel", ""},
		{"of another system", "willow and hazel\r\n", "willow and hazel", ""},
		{"the first line alone", "willow and hazel\nmore", "willow and hazel", ""},
		{"too short", "nine-char\n", "", "at least 10 characters"},
		{"nothing", "", "", "at least 10 characters"},
		{"too long", strings.Repeat("x", 5000), "", "at most 72 bytes"},
	} {
		t.Run(row.name, func(t *testing.T) {
			var out, wrong bytes.Buffer
			code := run(t.Context(), []string{"password"}, stdio{strings.NewReader(row.in), &out, &wrong})
			if row.word == "" {
				if code != exitWrongUse || !strings.Contains(wrong.String(), row.want) || out.Len() > 0 || row.in != "" && strings.Contains(wrong.String(), strings.TrimSpace(row.in)) {
					t.Errorf("code %d, out %q, said %q", code, out.String(), wrong.String())
				}
				return
			}
			line, rest, _ := strings.Cut(out.String(), "\n")
			if code != exitDone || rest != "" || bcrypt.CompareHashAndPassword([]byte(line), []byte(row.word)) != nil {
				t.Errorf("code %d, out %q, said %q", code, out.String(), wrong.String())
			}
		})
	}
}
