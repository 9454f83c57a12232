package calls_test

import (
	"fmt"
	"testing"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/calls"
)

const nests = 30

func nest(i int) string { return fmt.Sprintf("n%02d", i) }

// flood raises an alarm in thirty nests, some in each minute.
func (r *rig) flood(name alarm.Name, severity alarm.Severity, aMinute int, each func()) {
	for i := range nests {
		r.raise(nest(i), name, severity)
		if i%aMinute == aMinute-1 {
			r.minute()
			each()
		}
	}
}

// TestStormIsFewMessages counts the calls of the first hour in which thirty nests alarm, the first hour's end included.
func TestStormIsFewMessages(t *testing.T) {
	const hour = 61 * time.Minute
	quiet := func(*rig) {}
	rows := []struct {
		name     string
		severity alarm.Severity
		aMinute  int
		seen     func(r *rig) // after each minute
		hour     int          // calls of the first hour
	}{
		{"at once, acknowledged", urgent, nests, (*rig).answer, 1},
		{"at once, nobody answers", urgent, nests, quiet, 6},
		{"at once, warnings", warning, nests, quiet, 1},
		{"in ten minutes, acknowledged", urgent, 3, (*rig).answer, 5},
		{"in ten minutes, nobody answers", urgent, 3, quiet, 9},
		{"in ten minutes, warnings", warning, 3, quiet, 5},
	}
	for _, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			r := newRig(t, anna(), noon)
			each := func() { row.seen(r) }
			r.flood(alarm.NestHeat, row.severity, row.aMinute, each)
			for r.ran < hour {
				r.minute()
				each()
			}
			if got := r.byTime("", hour); got != row.hour {
				t.Errorf("%d calls, want %d", got, row.hour)
			}
			if lost := r.unheard(); len(lost) > 0 {
				t.Errorf("nobody hears of %v", lost)
			}
			r.made = nil
			for i := range nests {
				r.clear(nest(i), alarm.NestHeat)
			}
			r.minutes(30)
			if len(r.made) != 1 || r.made[0].Why != calls.Storm || len(r.made[0].Over) != nests || len(r.made[0].About) != 0 || r.desk.State().Storm != nil {
				t.Errorf("the end is told by %v", r.made)
			}
		})
	}
}

// storm is a rig in which six warnings were told in one call a minute after the start.
func (r *rig) storm() {
	for i := range 6 {
		r.raise(nest(i), alarm.NestHeat, warning)
	}
	r.minute()
	r.made = nil
}

func TestStorm(t *testing.T) {
	six := " n00/nest-heat warning n01/nest-heat warning n02/nest-heat warning n03/nest-heat warning n04/nest-heat warning n05/nest-heat warning"
	play(t, []row{
		{"five are no storm", anna(), noon, func(r *rig) {
			for i := range 5 {
				r.raise(nest(i), alarm.NestHeat, warning)
			}
			r.minutes(11)
			r.raise("a1", alarm.NestHeat, warning)
			r.minute()
		}, []string{
			"1: began n00/nest-heat warning > anna", "1: began n01/nest-heat warning > anna", "1: began n02/nest-heat warning > anna",
			"1: began n03/nest-heat warning > anna", "1: began n04/nest-heat warning > anna", "12: began a1/nest-heat warning > anna",
		}},
		{"the first urgent one at once", anna(), noon, func(r *rig) {
			r.storm()
			r.raise("a1", alarm.NestHeat, urgent)
			r.minute()
			r.acknowledge()
			r.minutes(60)
		}, []string{"2: storm a1/nest-heat urgent" + six + " > anna"}},
		{"warnings wait for the next call", anna(), noon, func(r *rig) {
			r.storm()
			r.raise("a1", alarm.NestHeat, warning)
			r.minutes(60)
		}, []string{"11: storm a1/nest-heat warning" + six + " > anna"}},
		{"its end is silent", anna(), noon, func(r *rig) {
			r.storm()
			r.minutes(10)
			r.raise("a1", alarm.NestHeat, warning)
			r.minute()
		}, []string{"12: began a1/nest-heat warning > anna"}},
		{"come and acknowledged before the next call", anna(), noon, func(r *rig) {
			r.storm()
			r.raise("a1", alarm.NestHeat, warning)
			r.minute()
			r.do(alarm.Acknowledge, "a1", alarm.NestHeat)
			r.minutes(60)
		}, nil},
		{"come and gone before the next call", anna(), noon, func(r *rig) {
			r.storm()
			r.acknowledge()
			r.raise("a1", alarm.NestHeat, warning)
			r.minute()
			r.clear("a1", alarm.NestHeat)
			r.minutes(60)
		}, []string{"11: storm over:a1/nest-heat > anna"}},
		{"some are over", anna(), noon, func(r *rig) {
			r.storm()
			r.minutes(3)
			r.clear("n00", alarm.NestHeat)
			r.minute()
			r.clear("n01", alarm.NestHeat)
			r.minutes(60)
		}, []string{"11: storm n02/nest-heat warning n03/nest-heat warning n04/nest-heat warning n05/nest-heat warning over:n00/nest-heat over:n01/nest-heat > anna"}},
		{"what happened and what is due waits for the digest", talkative(), noon, func(r *rig) {
			r.storm()
			r.note(alarm.Kindled, notice)
			r.note(alarm.DaemonFault, warning)
			r.raise("a1", alarm.BoxDue, notice)
			r.minutes(24 * 60)
		}, []string{
			"11: waited a1/box-due notice raised a1/kindled notice noted a1/daemon-fault warning noted > anna",
		}},
		{"only what happened", anna(), noon, func(r *rig) {
			for range 7 {
				r.note(alarm.DaemonFault, warning)
			}
			r.minutes(60)
		}, []string{"11: waited" + sevenTimes(" a1/daemon-fault warning noted") + " > anna"}},
		{"the first is named", anna(), noon, func(r *rig) {
			r.raise("z9", alarm.BusFault, warning)
			r.minutes(3)
			r.storm()
			if got := r.desk.State().Storm.First; got.Nest != "z9" {
				r.t.Errorf("the first was %s/%s", got.Nest, got.Name)
			}
		}, nil},
		{"one who sleeps through warnings hears the end of what woke her", sleeper(), noon, func(r *rig) {
			r.raise("a1", alarm.NestHeat, urgent)
			r.minute()
			r.acknowledge()
			r.storm()
			r.clear("a1", alarm.NestHeat)
			r.minutes(4)
			r.raise("b2", alarm.NestHeat, warning)
			r.minutes(30)
		}, []string{"12: storm b2/nest-heat warning" + six + " over:a1/nest-heat > anna berta"}},
	})
}

// sleeper is anna, who only wants to know what is urgent, and berta.
func sleeper() calls.Plan {
	p := anna()
	p.Contacts = []calls.Contact{{Name: "anna", AtLeast: urgent}, {Name: "berta", AtLeast: warning}}
	return p
}

func sevenTimes(s string) string { return s + s + s + s + s + s + s }

// TestStormEscalates: somebody else is called also where there is always something new.
func TestStormEscalates(t *testing.T) {
	r := newRig(t, pace(10, 3), noon)
	for i := range 6 {
		r.raise(nest(i), alarm.NestHeat, urgent)
	}
	for i := range 60 {
		r.minute()
		r.raise(fmt.Sprintf("w%d", i), alarm.NestHeat, warning)
	}
	var to []string
	for _, m := range r.made {
		to = append(to, fmt.Sprintf("%d: %v %d new %v", int(m.at.Minutes()), m.To, m.Number, m.Fresh))
	}
	want := []string{
		"1: [anna] 0 new []", "11: [anna] 1 new []", "21: [anna] 2 new []", "31: [anna berta] 3 new [berta]",
		"41: [anna berta] 4 new []", "51: [anna berta] 5 new []",
	}
	if fmt.Sprint(to) != fmt.Sprint(want) {
		t.Errorf("called\n%q\nwant\n%q", to, want)
	}
	r.deaf["anna"], r.deaf["berta"] = true, true
	if m := r.minute(); len(m) != 1 || fmt.Sprint(m[0].Fresh) != "[carl]" {
		t.Errorf("with nobody to be reached: %v", m)
	}
}
