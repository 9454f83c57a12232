package exporter

// Secret is a password, token or URL with a key in it. It prints as a placeholder; Reveal gives the text to the one call that needs it.
type Secret struct{ text string }

// NewSecret wraps text.
func NewSecret(text string) Secret { return Secret{text} }

// Reveal returns the text itself.
func (s Secret) Reveal() string { return s.text }

// IsSet reports whether there is a secret.
func (s Secret) IsSet() bool { return s.text != "" }

// String returns a placeholder.
func (s Secret) String() string {
	if s.text == "" {
		return ""
	}
	return "(secret)"
}

// GoString returns a placeholder.
func (s Secret) GoString() string { return s.String() }

// MarshalText writes the placeholder.
func (s Secret) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// UnmarshalText reads the text.
func (s *Secret) UnmarshalText(b []byte) error { s.text = string(b); return nil }
