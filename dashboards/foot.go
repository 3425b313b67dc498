package dashboards

import (
	"fmt"

	"farthing/dashboards/layout"
	"farthing/pipeline/result"
)

// foot says what the pages of an edition rest on.
func foot(e *result.Edition) []layout.Part {
	about := layout.Part{ID: "edition", Headline: "About these numbers", Terms: [][2]string{
		{"Edition", e.Hash},
		{"As of", dateText(e.AsOf)},
		{"Prices", fmt.Sprintf("%d read and accepted, %d of them behind a published price; %d held for a check, %d could not be read, %d repeated another.",
			e.Accepted, e.Counted, e.Held, e.Quarantined, e.Duplicate)},
		{"Missing", "A value that is not known stays empty. It is never 0."},
	}}
	if e.Invented {
		about.Text = []string{"All places, shops and prices here are invented, to show how the pages work."}
	}
	parts := []layout.Part{about}
	if len(e.Sources) > 0 {
		t := &layout.Table{Caption: "Files read, and what became of their rows.", Head: []layout.Column{{Text: "File"}, {Text: "Source", Words: true},
			{Text: "Producer", Words: true}, {Text: "Licence", Words: true}, {Text: "Rows"}, {Text: "Accepted"}, {Text: "Unread"}, {Text: "Repeated"}, {Text: "Held"}}}
		for _, s := range e.Sources {
			t.Rows = append(t.Rows, layout.Row{Cells: []layout.Cell{{Text: clean(s.Name)}, {Text: clean(s.Source), Words: true}, {Text: clean(s.Producer), Words: true},
				{Text: clean(s.Licence), Words: true}, {Text: s.Read.String()}, {Text: s.Accepted.String()}, {Text: s.Quarantined.String()}, {Text: s.Duplicate.String()}, {Text: s.Held.String()}}})
		}
		parts = append(parts, layout.Part{ID: "sources", Headline: fmt.Sprintf("Sources and licences (%d)", len(e.Sources)), Folded: true, Table: t, Open: true})
	}
	if len(e.Options) > 0 {
		p := layout.Part{ID: "options", Headline: "Choices the figures depend on", Folded: true}
		for _, o := range e.Options {
			p.Terms = append(p.Terms, [2]string{clean(o[0]), clean(o[1])})
		}
		parts = append(parts, p)
	}
	return parts
}

// dateText prints 2024-12-31 as "31 December 2024".
func dateText(s string) string { return day(s, 0, false) }
