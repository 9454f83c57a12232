package report

import (
	"bytes"
	"crypto/sha256"
	_ "embed" // the page and its style
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"time"

	"nestmon/thresholds/book"
	"nestmon/thresholds/review"
)

//go:embed page.html
var pageHTML string

//go:embed list.html
var listHTML string

//go:embed style.css
var style string

// Pages makes the pages. The zero value is of no use.
type Pages struct{ page, list *template.Template }

// NewPages reads the templates.
func NewPages() *Pages {
	funcs := template.FuncMap{"style": func() template.CSS { return template.CSS(style) }}
	parse := func(name, text string) *template.Template {
		return template.Must(template.New(name).Funcs(funcs).Parse(text)) // embedded at build time
	}
	return &Pages{parse("page", pageHTML), parse("list", listHTML)}
}

// Policy is the Content-Security-Policy of the pages: their own style, and nothing else at all.
func Policy() string {
	sum := sha256.Sum256([]byte(style))
	return fmt.Sprintf("default-src 'none'; style-src 'sha256-%s'; base-uri 'none'; form-action 'none'; frame-ancestors 'self'", base64.StdEncoding.EncodeToString(sum[:]))
}

// Litter writes the page of one litter.
func (p *Pages) Litter(w io.Writer, r *review.Review, site Site) error {
	return write(w, p.page, newView(r, site))
}

// List writes the page that leads to the litters', the newest first.
func (p *Pages) List(w io.Writer, all []*book.Record, site Site) error {
	v := listView{Site: printable(site.Name)}
	for i := len(all) - 1; i >= 0; i-- {
		v.Litters = append(v.Litters, listRowOf(all[i], site.zone()))
	}
	return write(w, p.list, v)
}

// write makes the whole page before any of it leaves.
func write(w io.Writer, t *template.Template, v any) error {
	var page bytes.Buffer
	if err := t.Execute(&page, v); err != nil {
		return fmt.Errorf("writing the report's page: %w", err)
	}
	_, err := w.Write(page.Bytes())
	return err
}

type listView struct {
	Site    string
	Litters []listRow
}

type listRow struct {
	ID                                       int64
	Title, Nest, Bred, Kindled, Weaned, Born string
	Report                                   bool // there is one
}

func listRowOf(rec *book.Record, zone *time.Location) listRow {
	date := func(t time.Time) string {
		if t.IsZero() {
			return none
		}
		return t.In(zone).Format("2 Jan 2006")
	}
	row := listRow{
		ID: rec.ID, Title: title(rec), Nest: printable(rec.Nest()), Bred: date(rec.Bred), Kindled: date(rec.Kindled), Weaned: date(rec.Weaned),
		Born: none, Report: !rec.Kindled.IsZero() && !rec.Failed,
	}
	if rec.Born != nil {
		row.Born = fmt.Sprint(*rec.Born)
	}
	if rec.Failed {
		row.Kindled = "did not kindle"
	}
	return row
}
