package mqtt

import (
	"encoding/json"
	"fmt"
	"math"
	"time"

	"nestmon/exporter"
	"nestmon/sensors"
	"nestmon/thresholds"
)

// senMLRecord is one measurement of RFC 8428. The first also holds what all have in common.
type senMLRecord struct {
	BaseName string   `json:"bn,omitempty"`
	BaseTime float64  `json:"bt,omitempty"` // s since 1970; left out, times are before the message's arrival
	Name     string   `json:"n"`
	Unit     string   `json:"u"`
	Value    float64  `json:"v"`
	Time     *float64 `json:"t,omitempty"` // s after BaseTime, negative; left out for 0
}

// senMLUnits are of the register that RFC 8428, 12.1 began. It has no primary unit for parts per million but the ratio, and %RH for humidity.
var senMLUnits = map[sensors.Quantity]struct {
	name  string
	scale float64 // divides our value
}{
	sensors.Temperature: {"Cel", 1},
	sensors.Humidity:    {"%RH", 1},
	sensors.CO2:         {"/", 1e6},
	sensors.Voltage:     {"V", 1},
	sensors.Current:     {"A", 1},
}

// SenMLTopic is where the polls of this device go, one message each.
func (r Root) SenMLTopic() string { return "nestmon/" + r.Device + "/senml" }

// SenML writes the fresh values of a state, "" where there is none. A board whose clock is not set says how old each value is and not when
// it was measured.
func (r Root) SenML(s *exporter.State) string {
	var pack []senMLRecord
	place := func(node string, values []thresholds.Value) {
		for _, p := range readingProperties {
			for _, v := range values {
				if p.of(v) && v.Fresh && !math.IsNaN(v.Value) && !math.IsInf(v.Value, 0) {
					unit := senMLUnits[v.Quantity]
					pack = append(pack, senMLRecord{Name: node + "/" + p.id, Unit: unit.name, Value: v.Value / unit.scale, Time: before(s.Snapshot.Time, v.Time)})
				}
			}
		}
	}
	for _, n := range s.Snapshot.Nests {
		place(topicID(n.ID), n.Values)
	}
	place(outsideNode, s.Snapshot.Outside.Values)
	place(batteryNode, s.Snapshot.Battery.Values)
	if len(pack) == 0 {
		return ""
	}
	pack[0].BaseName = r.Device + "/"
	if s.Synced {
		pack[0].BaseTime = float64(s.Snapshot.Time.Unix())
	}
	b, err := json.Marshal(pack)
	if err != nil {
		panic(fmt.Sprintf("mqtt: a pack of strings and finite numbers does not marshal: %v", err))
	}
	return string(b)
}

// before is how long before the poll a value was measured, in whole seconds, as a negative number; nil for 0.
func before(poll, measured time.Time) *float64 {
	s := float64(measured.Unix() - poll.Unix())
	if s >= 0 {
		return nil
	}
	return &s
}

// pack sends a poll's values, where that is wanted, once.
func (c *Client) pack(s *exporter.State) error {
	if !c.o.Config.SenML || c.root.Homie4 || s.Snapshot.Time.Equal(c.packed) {
		return nil
	}
	if text := c.root.SenML(s); text != "" {
		if err := c.link.mention(c.ctx, Message{c.root.SenMLTopic(), text}); err != nil {
			return err
		}
	}
	c.packed = s.Snapshot.Time
	return nil
}
