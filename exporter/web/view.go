package web

import (
	"math"
	"time"

	"nestmon/exporter"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
)

// The structs of this file are the wire form that the package comment describes. Lists are never null.

type stateView struct {
	Time        time.Time    `json:"time"`
	Version     string       `json:"version"`
	Started     *time.Time   `json:"started"`
	ClockSynced bool         `json:"clock_synced"`
	Page        string       `json:"page"`
	Site        siteView     `json:"site"`
	Season      brood.Season `json:"season"`
	Outside     outsideView  `json:"outside"`
	Battery     batteryView  `json:"battery"`
	Nests       []nestView   `json:"nests"`
	Alarms      []alarmView  `json:"alarms"`
	Quiet       []alarmView  `json:"quiet"`
	Probes      []probeView  `json:"probes"`
	Buses       []busView    `json:"buses"`
	Sinks       []sinkView   `json:"sinks"`
	Nobody      bool         `json:"nobody_called"`
}

type siteView struct {
	Name     string  `json:"name"`
	Display  string  `json:"display"`
	Timezone string  `json:"timezone"`
	OldAfter float64 `json:"old_after_s"`
}

type outsideView struct {
	Values []valueView `json:"values"`
	THI    *float64    `json:"thi_c"`
}

type batteryView struct {
	Values []valueView `json:"values"`
}

type valueView struct {
	Role     thresholds.Role `json:"role"`
	Probe    string          `json:"probe"`
	Quantity string          `json:"quantity"`
	Unit     string          `json:"unit"`
	Value    *float64        `json:"value"`
	Time     *time.Time      `json:"time"`
	Age      *float64        `json:"age_s"`
	Fresh    bool            `json:"fresh"`
}

type nestView struct {
	ID       string           `json:"id"`
	Kind     brood.Kind       `json:"kind"`
	Stage    thresholds.Stage `json:"stage"`
	AgeDays  *int             `json:"age_days"`
	Litter   *litterView      `json:"litter"`
	Values   []valueView      `json:"values"`
	Core     *float64         `json:"core_c"`
	Limits   limitsView       `json:"limits"`
	Severity alarm.Severity   `json:"severity"`
	Judged   []judgedView     `json:"judged"`
	Learned  learnedView      `json:"learned"`
	Next     *nextView        `json:"next"`
	Past     *overView        `json:"past_limit"`
}

// nextView is the chore of a nest that comes first.
type nextView struct {
	Event alarm.Name           `json:"event"`
	State thresholds.TaskState `json:"state"`
	From  time.Time            `json:"from"`
	Late  *time.Time           `json:"late"`
}

type learnedView struct {
	Nights     int         `json:"nights"`
	WarmEmpty  *figureView `json:"warm_empty_k"`
	WarmKits   *figureView `json:"warm_kits_k"`
	Follows    *figureView `json:"follows_min"`
	Share      *figureView `json:"share"`
	Damped     *figureView `json:"day_share"`
	LateH      *figureView `json:"day_late_h"`
	Neighbours *figureView `json:"over_neighbours_k"`
	Text       []string    `json:"text"`
}

type figureView struct {
	Value float64 `json:"value"`
	Error float64 `json:"error"`
	N     int     `json:"n"`
}

type litterView struct {
	Bred    *time.Time `json:"bred"`
	Kindled *time.Time `json:"kindled"`
	Born    *int       `json:"born"`
	Kits    *int       `json:"kits"`
	Ended   *time.Time `json:"ended"`
}

type limitsView struct {
	ClusterCold  *float64 `json:"cluster_cold_c"`
	ClusterHot   *float64 `json:"cluster_hot_c"`
	AirCold      *float64 `json:"air_cold_c"`
	AirHot       *float64 `json:"air_hot_c"`
	AirHotUrgent *float64 `json:"air_hot_urgent_c"`
}

type judgedView struct {
	Danger string `json:"danger"`
	Judged bool   `json:"judged"`
	Why    string `json:"why"`
}

type alarmView struct {
	Nest         *string        `json:"nest"`
	Event        alarm.Name     `json:"event"`
	Chore        bool           `json:"chore"`
	Alarm        bool           `json:"alarm"`
	Severity     alarm.Severity `json:"severity"`
	Since        time.Time      `json:"since"`
	Time         time.Time      `json:"time"`
	Value        *float64       `json:"value"`
	Limit        *float64       `json:"limit"`
	Unit         *string        `json:"unit"`
	Probe        *string        `json:"probe"`
	Text         string         `json:"text"`
	Rule         *string        `json:"rule"`
	Source       *string        `json:"source"`
	Acknowledged *time.Time     `json:"acknowledged"`
	Status       alarm.Status   `json:"status"`
	By           *string        `json:"by"`
	Until        *time.Time     `json:"until"`
	Over         *time.Time     `json:"over"`
	Because      *string        `json:"because"`
	First        bool           `json:"first"`
	Latched      bool           `json:"latched"`
	LongestShelf float64        `json:"longest_shelf_s"`
}

func (s *Server) view(st *exporter.State) stateView {
	snap := st.Snapshot
	v := stateView{
		Time: snap.Time, Version: st.Version, Started: instant(st.Started), ClockSynced: st.Synced, Page: s.assets.hash,
		Site:    siteView{s.site.Name, s.site.Display, s.site.zone().String(), s.site.oldAfter().Seconds()},
		Season:  snap.Season,
		Outside: outsideView{values(snap.Outside.Values, snap.Time), number(snap.Outside.THI, snap.Outside.HasTHI)},
		Battery: batteryView{values(snap.Battery.Values, snap.Time)},
		Nests:   make([]nestView, 0, len(snap.Nests)),
		Alarms:  alarmsOf(snap.Alarms),
		Quiet:   alarmsOf(snap.Quiet),
		Probes:  s.probeViews(st),
		Buses:   busViews(st.Buses),
		Sinks:   sinkViews(st.Sinks),
		Nobody:  !s.called(),
	}
	for _, n := range snap.Nests {
		nest := nestOf(n, snap.Time)
		nest.Past = pastLimit(n, snap.Alarms)
		nest.Next = s.nextOf(st.Agenda, n.ID, snap.Time)
		v.Nests = append(v.Nests, nest)
	}
	return v
}

// nextOf is the first of a nest's chores that is still to be done, nil for none. The agenda is in order.
func (s *Server) nextOf(agenda []thresholds.Task, nest string, now time.Time) *nextView {
	for _, t := range agenda {
		if t.Nest == nest && t.Done.IsZero() && (t.Until.IsZero() || now.Before(t.Until)) {
			return &nextView{t.Chore, t.State(now, s.site.zone()), t.From, instant(t.Late)}
		}
	}
	return nil
}

func alarmsOf(all []alarm.Standing) []alarmView {
	out := make([]alarmView, 0, len(all))
	for _, a := range all {
		v := alarmView{
			Nest: text(a.Nest), Event: a.Name, Chore: a.Name.Chore(), Alarm: thresholds.Alarming(a.Event), Severity: a.Severity, Since: a.Since, Time: a.Time,
			Value: number(a.Value, a.HasValue), Limit: number(a.Limit, a.HasLimit), Unit: text(a.Unit), Probe: text(a.Probe),
			Text: a.Text, Rule: text(a.Rule), Source: text(a.Source), Acknowledged: instant(a.Acknowledged),
			Status: a.Status, By: text(a.By), Until: instant(a.Until), Over: instant(a.Over), Because: text(string(a.Because)),
			First: a.First, Latched: a.Latched, LongestShelf: alarm.MaxShelf(a.Name).Seconds(),
		}
		switch {
		case v.Status == "" && a.Acknowledged.IsZero():
			v.Status = alarm.Unacknowledged
		case v.Status == "":
			v.Status = alarm.Acknowledged
		}
		out = append(out, v)
	}
	return out
}

func nestOf(n thresholds.NestState, now time.Time) nestView {
	v := nestView{
		ID: n.ID, Kind: n.Kind, Stage: n.Stage, Litter: litterOf(n.Litter), Values: values(n.Values, now),
		Core: number(n.Core, n.HasCore), Limits: limitsView(n.Limits), Severity: n.Severity, Judged: make([]judgedView, 0, len(n.Judged)),
		Learned: learnedOf(n.Learned),
	}
	if n.AgeDays >= 0 {
		v.AgeDays = &n.AgeDays
	}
	for _, j := range n.Judged {
		v.Judged = append(v.Judged, judgedView(j))
	}
	return v
}

func learnedOf(l thresholds.Learned) learnedView {
	figure := func(f thresholds.Figure) *figureView {
		if !f.Known {
			return nil
		}
		return &figureView{f.Value, f.Error, f.N}
	}
	return learnedView{
		l.Nights, figure(l.WarmEmpty), figure(l.WarmKits), figure(l.Follows), figure(l.Share), figure(l.Damped), figure(l.LateH), figure(l.Neighbours),
		append([]string{}, l.Text...),
	}
}

func litterOf(l *litter.Litter) *litterView {
	if l == nil {
		return nil
	}
	v := &litterView{Bred: instant(l.Bred), Kindled: instant(l.Kindled), Ended: instant(l.Ended)}
	if l.Born > 0 {
		v.Born = &l.Born
	}
	if l.Kits > 0 {
		v.Kits = &l.Kits
	}
	return v
}

func values(in []thresholds.Value, now time.Time) []valueView {
	out := make([]valueView, 0, len(in))
	for _, v := range in {
		w := valueView{
			Role: v.Role, Probe: v.Probe, Quantity: v.Quantity.String(), Unit: v.Quantity.Unit(),
			Value: number(v.Value, v.Fresh), Time: instant(v.Time),
		}
		w.Fresh = w.Value != nil
		if w.Time != nil {
			age := now.Sub(v.Time).Seconds()
			w.Age = &age
		}
		out = append(out, w)
	}
	return out
}

// number is v where it is valid and can be written as JSON, else null.
func number(v float64, valid bool) *float64 {
	if !valid || math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

func instant(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	return &t
}

func text(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}
