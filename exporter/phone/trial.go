package phone

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"nestmon/exporter"
)

// Trial makes the message by which a person sees that a channel works. It is about no nest, and no channel is too high for it.
func (w Writer) Trial(now time.Time) exporter.Message {
	title := fmt.Sprintf("Test from %s: this is how an alarm reaches you", w.Site)
	return exporter.Message{
		ID: "test-" + strconv.FormatInt(now.UnixNano(), 36), Time: now, Kind: exporter.Trial, Title: shorten(strings.Join(strings.Fields(title), " "), maxTitle),
		Body: "Nothing is wrong. " + `A real alarm says in its title how bad it is, which nest, what is wrong with it, the value in °F and °C, and since when. Here it says what to do, ` +
			"and by which rule it was raised.\n\nIf this came without a sound, an urgent alarm may too: let this sender through at night.\n\nSent: " + now.In(w.zone()).Format("Mon 2 Jan 15:04"),
	}
}
