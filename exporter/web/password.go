package web

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"
	"unicode/utf8"

	"golang.org/x/crypto/bcrypt"
)

// Bounds of a password. The shortest is ours, no source; the longest is what bcrypt takes (from memory).
const (
	shortestPassword = 10 // characters
	longestPassword  = 72 // bytes
	highestCost      = 14 // of a hash, powers of two: at 14 a small board needs about a minute
)

// HashPassword makes the line of a password file. An error says what is wrong with the password, and never quotes it.
func HashPassword(password string) (string, error) {
	switch {
	case !utf8.ValidString(password):
		return "", errors.New("the password is not text; write letters, digits and signs")
	case utf8.RuneCountInString(password) < shortestPassword:
		return "", fmt.Errorf("the password is too short; write at least %d characters, such as four words", shortestPassword)
	case len(password) > longestPassword:
		return "", fmt.Errorf("the password is too long; write at most %d bytes", longestPassword)
	case strings.ContainsFunc(password, func(r rune) bool { return r < ' ' || r == 0x7f }):
		return "", errors.New("the password holds a key that no browser sends, such as a tab; write letters, digits and signs")
	}
	hash, err := bcrypt.GenerateFromPassword([]byte(password), bcrypt.DefaultCost)
	return string(hash), err
}

// misset is what only a person can put right.
type misset string

func (m misset) Error() string     { return string(m) }
func (misset) Misconfigured() bool { return true }

// lock is a password file as it stands.
type lock struct {
	hash []byte
	mark string // differs from password to password, and tells nothing of it
}

// readLock reads a password file. The error names the file and never quotes it.
func readLock(file string) (l lock, err error) {
	text, err := os.ReadFile(file)
	const remedy = "; write what 'nestmon password' prints into it, one line"
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return l, misset("there is no file " + file + remedy)
	case err != nil:
		return l, misset(file + " cannot be read; give it to the daemon's user: sudo chown nestmon " + file)
	}
	l.hash = []byte(strings.TrimSpace(string(text)))
	cost, err := bcrypt.Cost(l.hash)
	switch {
	case err != nil:
		return l, misset(file + " holds no bcrypt hash" + remedy)
	case cost > highestCost:
		return l, misset(fmt.Sprintf("%s holds a hash of cost %d, which takes a small board minutes%s", file, cost, remedy))
	}
	sum := sha256.Sum256(l.hash)
	l.mark = hex.EncodeToString(sum[:])
	return l, nil
}

func (l lock) opens(password string) bool {
	return len(password) <= longestPassword && bcrypt.CompareHashAndPassword(l.hash, []byte(password)) == nil
}

// CheckPassword reads the password file, where one is named.
func (c Config) CheckPassword() error {
	if c.PasswordFile == "" {
		return nil
	}
	_, err := readLock(c.PasswordFile)
	return err
}
