package report_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/xml"
	"errors"
	"io"
	"regexp"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"nestmon/exporter/report"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/review"
)

var born = time.Date(2031, time.March, 2, 4, 0, 0, 0, time.UTC)

func n(kits int) *int { return &kits }

// look reviews a litter with a cold night and a hot hour, and a name that is not kind to pages and terminals.
func look(t *testing.T, scale review.Scale) (*review.Review, *book.Book) {
	t.Helper()
	day := func(d, h int) time.Time { return born.AddDate(0, 0, d).Add(time.Duration(h-4) * time.Hour) }
	b, _, _, err := book.New(book.Rules{Location: time.UTC, Nests: map[string]brood.Kind{"oak": brood.WoodenBox}}, nil).With(day(40, 0),
		book.Entry{What: book.Bred, Litter: 1, Nest: "oak", At: day(-31, 0), Doe: `<b>Hazel</b>"`}, book.Entry{What: book.Kindled, Litter: 1, Nest: "oak", At: born, Kits: n(8)},
		book.Entry{What: book.Lost, Litter: 1, At: day(2, 0), Day: true, Kits: n(3), Cause: book.Chilled}, book.Entry{What: book.Weighed, Litter: 1, At: day(7, 9), Kits: n(5), Grams: 580},
		book.Entry{What: book.Did, Litter: 1, Nest: "oak", Chore: alarm.BeddingDue, At: day(14, 9), Bedding: `straw "fine" <i>`, Depth: 8},
		book.Entry{What: book.Weaned, Litter: 1, At: day(35, 9), Kits: n(5)}, book.Entry{What: book.Bred, Litter: 2, Nest: "oak", At: day(36, 0), Doe: "Fern"})
	if err != nil {
		t.Fatal(err)
	}
	in := review.Input{
		Record: b.Record(1), Entries: b.Nest("oak"), Probes: map[string]review.Probes{"oak": {Cluster: true, Air: true}}, Tables: brood.DefaultTables(),
		Location: time.UTC, Now: day(40, 0), ActsSince: day(-90, 0), Scale: scale,
	}
	value := func(c float64) review.Value { return review.Value{N: 120, Min: c - 0.2, Mean: c, Max: c + 0.2} }
	for h := born; h.Before(day(35, 9)); h = h.Add(time.Hour) {
		pile, air := 35.5, 18.0
		switch {
		case !h.Before(day(2, 1)) && h.Before(day(2, 5)):
			pile, air = 28, -6
		case h.Equal(day(9, 15)):
			air = 33
		case !h.Before(day(4, 0)) && h.Before(day(4, 6)):
			continue
		}
		in.Hours = append(in.Hours, review.Hour{Nest: "oak", At: h, Cluster: value(pile), Air: value(air)})
		in.Outside = append(in.Outside, review.Sample{At: h, Value: value(air - 4)})
	}
	r, err := review.Of(in)
	if err != nil {
		t.Fatal(err)
	}
	return r, b
}

var site = report.Site{Name: "Meadow & <Mill>", Zone: time.UTC, Now: born.AddDate(0, 0, 40)}

func page(t *testing.T, scale review.Scale) string {
	t.Helper()
	var out bytes.Buffer
	r, _ := look(t, scale)
	if err := report.NewPages().Litter(&out, r, site); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

func TestPageStandsAlone(t *testing.T) {
	text := page(t, review.Scale{})
	for _, bad := range []string{"<b>Hazel", "<i>", "<Mill>", "<script", "src=", "href=", "url(", "style=", "@import", "ZgotmplZ", "%!", "NaN", "Inf"} {
		if strings.Contains(text, bad) {
			t.Errorf("the page holds %q", bad)
		}
	}
	for _, want := range []string{"&lt;b&gt;Hazel&lt;/b&gt;", "3 of 8 were lost on day 2", "34 °C (93.2 °F)", `class="pile" d="M`, "<desc", "straw &#34;fine&#34; &lt;i&gt;", "published 111 to 120 g"} {
		if !strings.Contains(text, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	if !strings.Contains(page(t, review.Scale{Fahrenheit: true}), "93.2 °F (34 °C)") {
		t.Error("Fahrenheit does not come first")
	}
	style := regexp.MustCompile(`(?s)<style>(.*)</style>`).FindStringSubmatch(text)
	sum := sha256.Sum256([]byte(style[1]))
	if hash := base64.StdEncoding.EncodeToString(sum[:]); !strings.Contains(report.Policy(), "'sha256-"+hash+"'") {
		t.Errorf("the policy %s does not let the page's own style in, %s", report.Policy(), hash)
	}
}

// The drawing is well formed, and each thing stands in its row.
func TestTrace(t *testing.T) {
	text := page(t, review.Scale{})
	svg := text[strings.Index(text, "<svg"):]
	svg = svg[:strings.Index(svg, "</svg>")+len("</svg>")]
	in := xml.NewDecoder(strings.NewReader(svg))
	classes := map[string]int{}
	for {
		token, err := in.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		if e, ok := token.(xml.StartElement); ok {
			for _, a := range e.Attr {
				if a.Name.Local == "class" {
					classes[e.Name.Local+" "+a.Value]++
				}
			}
		}
	}
	for class, want := range map[string]int{"rect band": 5, "rect cold": 1, "rect hot": 0, "rect airout": 2, "rect blank": 1, "text middle strong": 1, "path lossline": 1} {
		if classes[class] != want {
			t.Errorf("%d of %q, want %d", classes[class], class, want)
		}
	}
	if pile := regexp.MustCompile(`class="pile" d="([^"]*)"`).FindStringSubmatch(svg)[1]; strings.Count(pile, "M") != 2 {
		t.Errorf("the hole of day 4 is no hole in the line: %d pieces", strings.Count(pile, "M"))
	}
}

func TestText(t *testing.T) {
	r, _ := look(t, review.Scale{Fahrenheit: true})
	var out bytes.Buffer
	if err := report.Text(&out, r, site); err != nil {
		t.Fatal(err)
	}
	for _, line := range strings.Split(out.String(), "\n") {
		if utf8.RuneCountInString(line) > 80 {
			t.Errorf("%d columns: %s", utf8.RuneCountInString(line), line)
		}
	}
	for _, want := range []string{"Litter 1 of <b>Hazel</b>\"", "93.2 °F (34 °C)", "  2  4 Mar   82..96", "under 4 h", "no data 6 h"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("no %q in\n%s", want, out.String())
		}
	}
}

func TestList(t *testing.T) {
	_, b := look(t, review.Scale{})
	var out bytes.Buffer
	if err := report.NewPages().List(&out, b.Records(), site); err != nil {
		t.Fatal(err)
	}
	if text := out.String(); !strings.Contains(text, `<a href="litter/1">Litter 1 of &lt;b&gt;Hazel`) || strings.Contains(text, "litter/2") || !strings.Contains(text, "Litter 2 of Fern") {
		t.Error(text)
	}
}
