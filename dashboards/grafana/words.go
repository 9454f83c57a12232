package grafana

// Okabe & Ito 2008, "Color Universal Design: how to make figures and presentations that are friendly to colorblind people"; the values as R's
// palette.colors and several CRAN packages give them.
const (
	orange  = "#E69F00"
	skyBlue = "#56B4E9"
	green   = "#009E73"
	blue    = "#0072B2"
	red     = "#D55E00" // vermillion
	purple  = "#CC79A7"
)

// word is what a number or a text means to a person.
type word struct{ value, text, colour string }

// How bad it is. 0 to 3 are nestmon's severities; 0.5 and 4 are the dashboards' own, so that what is not watched never passes for fine.
var severities = []word{
	{"0", "no alarm", green},
	{"0.5", "no alarm, but not all is judged", skyBlue},
	{"1", "notice", skyBlue},
	{"2", "warning", orange},
	{"3", "URGENT", red},
	{"4", "NO ANSWER, nobody watches", purple},
}

var (
	answers   = []word{{"0", "SILENT", red}, {"1", "answers", green}}
	arrives   = []word{{"0", "FAILS", red}, {"1", "arrives", green}}
	reached   = []word{{"0", "one works, or none is set up", green}, {"1", "NONE WORKS", red}}
	wrong     = []word{{"1", "WRONG", red}}
	judged    = []word{{"0", "NOT judged", purple}, {"1", "judged", green}}
	clock     = []word{{"0", "NOT to be trusted", red}, {"1", "right", green}}
	none      = []word{{"0", "none", green}}
	stages    = []word{{"empty", "no litter entered", ""}, {"bred", "bred", ""}, {"waiting", "box in, kits expected", ""}, {"nursing", "kits in the nest", ""}, {"out", "out of the box", ""}}
	kinds     = []word{{"wooden-box", "wooden box", ""}, {"metal-box", "metal box", ""}, {"buried-tote", "buried tote", ""}}
	nestWords = []word{{"", "outside, board", ""}}
)

// eventWords call the alarms what nestmon calls them to a person.
func (m *maker) eventWords() []word {
	words := make([]word, len(m.events))
	for i, e := range m.events {
		words[i] = word{value: e.Name, text: e.Words}
	}
	return words
}

// What stands where nothing came. An empty list must not read as good news: it is empty too when nobody answers.
const (
	unheard = "no answer"
	unfound = "Nothing to list, which is good news only while nestmon answers."
)
