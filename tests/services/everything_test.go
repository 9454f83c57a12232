package services_test

import (
	"time"

	"nestmon/exporter"
	"nestmon/sensors"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
	"nestmon/thresholds/nest"
)

// everything is an invented state in which every metric there is has a series.
func everything(now time.Time) *exporter.State {
	value := func(role thresholds.Role, probe string, q sensors.Quantity, v float64) thresholds.Value {
		return thresholds.Value{Role: role, Probe: probe, Quantity: q, Value: v, Time: now, Fresh: true}
	}
	limit := func(v float64) *float64 { return &v }
	health := func(probe string) sensors.Health {
		return sensors.Health{Probe: probe, Reads: 100, LastGood: now, Rejected: map[sensors.Fault]uint64{sensors.NoAnswer: 7}}
	}
	return &exporter.State{
		Started: now.Add(-time.Hour), Synced: true, Version: "test", Disk: exporter.Disk{Bytes: 8e9, Free: 5e9, Archive: 12e6},
		Sinks:  []exporter.SinkHealth{{Name: "influx", OK: true, Owes: true, Sent: 12, Refused: 2, Pruned: 4, Pending: 3, OldestAt: now.Add(-time.Minute)}, {Name: "mqtt", Misconfigured: true, Failed: 3}, {Name: "mobile", Calls: true}},
		Buses:  []sensors.BusHealth{{Bus: "i2c-1", Up: true, Traffic: &sensors.Traffic{Transactions: 40, Busy: time.Second, Errors: map[string]uint64{"no-answer": 2}}}},
		Probes: []sensors.Health{health("oak-cluster"), health("oak-air"), health("oak-co2"), health("oak-cage"), health("outside"), health("bank")},
		Snapshot: thresholds.Snapshot{
			Time: now, Season: brood.Winter,
			Outside: thresholds.Place{THI: -3.2, HasTHI: true, Values: []thresholds.Value{
				value(thresholds.Outside, "outside", sensors.Temperature, -11.5), value(thresholds.Outside, "outside", sensors.Humidity, 81),
			}},
			Battery: thresholds.Place{Values: []thresholds.Value{
				value(thresholds.Battery, "bank", sensors.Voltage, 12.6), value(thresholds.Battery, "bank", sensors.Current, -0.2),
			}},
			Doubts: []thresholds.Doubt{{Probe: "oak-air", Why: nest.DoubtWet}},
			Nests: []thresholds.NestState{{
				ID: "oak", Kind: brood.WoodenBox, Stage: thresholds.Nursing, Core: 37.4, HasCore: true,
				Litter: &litter.Litter{Nest: "oak", Kindled: now.Add(-100 * time.Hour), Born: 8},
				Values: []thresholds.Value{
					value(thresholds.Cluster, "oak-cluster", sensors.Temperature, 30.25), value(thresholds.Air, "oak-air", sensors.Temperature, 12),
					value(thresholds.Air, "oak-air", sensors.Humidity, 61.5), value(thresholds.CO2, "oak-co2", sensors.CO2, 900),
					value(thresholds.Cage, "oak-cage", sensors.Temperature, -2),
				},
				Limits: thresholds.LimitsInForce{ClusterCold: limit(33), ClusterHot: limit(40), AirCold: limit(10), AirHot: limit(32), AirHotUrgent: limit(35)},
				Judged: []thresholds.Judgement{{Danger: "heat", Judged: true}, {Danger: "chill"}, {Danger: "cold", Judged: true}, {Danger: "damp"}},
			}},
			Alarms: []alarm.Standing{
				{Event: alarm.Event{Nest: "oak", Name: alarm.ClusterChill, State: alarm.Raised, Severity: alarm.Urgent, Time: now}},
				{Event: alarm.Event{Nest: "oak", Name: alarm.InspectDue, State: alarm.Raised, Severity: alarm.Notice, Time: now}},
			},
			Quiet: []alarm.Standing{{Event: alarm.Event{Nest: "oak", Name: alarm.VisitOverdue}, Status: alarm.OutOfService}},
		},
	}
}
