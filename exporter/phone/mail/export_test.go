package mail

import "time"

// Hurry shortens the time of one send.
func (m *Mailer) Hurry(limit time.Duration) { m.limit = limit }
