package nest

// Numbers of moisture that is new: the nest holds more water over the air outside than at the same hours of any of the last days, and takes
// up most of what that air could still take. Found on simulated nests; ours, no source.
const (
	moistHours    = 6    // h of the comparison
	moistKnown    = 4    // of them with moistMinutes
	moistMinutes  = 30   // of an hour in air that says something
	moistDays     = 3    // days before, the wettest of them
	moistRise     = 2.5  // g/m³ over them begins it
	moistBack     = 1.0  // g/m³ over them ends it
	moistShare    = 0.70 // of the room for water in fresh air that is taken
	minutesInHour = 60
	hoursInDay    = 24
)

// hour is the mean water of one hour, g/m³.
type hour struct {
	Excess float32 // in the nest over outside
	Room   float32 // what fresh air could take up in the nest; 0 where the hour says nothing
}

// moisture compares the last hours with the same hours of the days before. It begins anew with each litter, for kits bring water with
// them, and judges nothing while none are known.
type moisture struct {
	minute, seen       int
	excess, room       float64 // sums of this hour
	recent             [moistHours]hour
	past               [moistDays * hoursInDay]hour
	at                 int // of past, this hour
	kits               bool
	on                 bool
	known              bool    // there is something to compare with
	now, usual, filled float64 // g/m³, g/m³, share; valid where known
}

// forget drops the hours; what was found stands until it is compared again.
func (m *moisture) forget() { *m = moisture{on: m.on, kits: m.kits} }

func (m *moisture) step(w *Watch, n *Now) {
	if kits := w.hasKits(); kits != m.kits {
		*m = moisture{kits: kits, on: m.on && kits}
	}
	if inside, outside, full, ok := w.vapour(n); ok {
		m.seen++
		m.excess += inside - outside
		m.room += max(full-outside, 0)
	}
	if m.minute++; m.minute < minutesInHour {
		return
	}
	m.close()
}

// close takes a whole hour. What stands out is not learned: its hours keep the values of three days before.
func (m *moisture) close() {
	oldest := len(m.past) - moistHours
	if !m.on {
		m.past[(m.at+oldest)%len(m.past)] = m.recent[moistHours-1]
	}
	copy(m.recent[1:], m.recent[:moistHours-1])
	m.recent[0] = hour{}
	if m.seen >= moistMinutes {
		m.recent[0] = hour{float32(m.excess / float64(m.seen)), float32(max(m.room/float64(m.seen), 0.01))}
	}
	m.minute, m.seen, m.excess, m.room = 0, 0, 0, 0
	m.judge()
	m.at = (m.at + 1) % len(m.past)
}

func (m *moisture) judge() {
	excess, room, ok := sum(func(ago int) hour { return m.recent[ago] })
	m.known = false
	if !ok || !m.kits {
		return
	}
	for d := 1; d <= moistDays; d++ {
		was, _, ok := sum(func(ago int) hour { return m.past[(m.at-ago-d*hoursInDay+2*len(m.past))%len(m.past)] })
		if ok && (!m.known || was > m.usual) {
			m.known, m.usual = true, was
		}
	}
	if !m.known {
		return
	}
	m.now, m.filled = excess, excess/room
	rise := m.now - m.usual
	m.on = rise > moistRise && m.filled > moistShare || m.on && rise > moistBack
}

// sum is the mean of the hours of a comparison; ok where enough of them say something.
func sum(of func(ago int) hour) (excess, room float64, ok bool) {
	known := 0
	for ago := range moistHours {
		if h := of(ago); h.Room > 0 {
			known++
			excess += float64(h.Excess)
			room += float64(h.Room)
		}
	}
	return excess / float64(max(known, 1)), room / float64(max(known, 1)), known >= moistKnown
}
