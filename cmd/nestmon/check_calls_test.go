package main

import (
	"slices"
	"testing"
	"time"

	"nestmon/exporter/phone"
	"nestmon/thresholds/alarm"
)

func TestCheckSaysWhoIsCalled(t *testing.T) {
	channels := []phone.Channel{{Name: "mobile"}, {Name: "post"}, {Name: "far"}}
	for _, row := range []struct {
		name string
		cfg  phone.Config
		want []planLine
	}{
		{"everybody", phone.Config{Channels: channels[:1]}, []planLine{
			{"called", "everybody at once, by mobile; what is urgent again every 10m until somebody acknowledges it"},
		}},
		{"one after another", phone.Config{
			Channels: channels, Repeat: 5 * time.Minute, EscalateAfter: 2, AllWell: "08:00",
			Contacts:   []phone.Contact{{Name: "anna", Channels: []string{"mobile", "post"}}, {Name: "berta", Channels: []string{"far"}}, {Name: "carl", Channels: []string{"post"}}},
			QuietHours: &phone.Window{From: "22:00", To: "06:00", Holds: alarm.Notice},
		}, []planLine{
			{"called", "first anna by mobile and post; what is urgent again every 5m until somebody acknowledges it"},
			{"called", "after 2 repeats without an answer also berta by far, after 2 more carl by post"},
			{"quiet", "from 22:00 to 06:00 notices alone are held; urgent alarms never are"},
			{"daily", "how things stand, at 08:00"},
		}},
	} {
		t.Run(row.name, func(t *testing.T) {
			if got := callLines(&row.cfg); !slices.Equal(got, row.want) {
				t.Errorf("got %q\nwant %q", got, row.want)
			}
		})
	}
}
