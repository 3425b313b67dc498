package dashboards

import (
	"cmp"
	"slices"
	"strings"

	"farthing/dashboards/layout"
	"farthing/pipeline/result"
)

// foot says what the pages of an edition rest on; the Grounds page says it in full.
func (t tongue) foot(e *result.Edition, grounds bool) []layout.Part {
	about := layout.Part{ID: "edition", Headline: t.T("About these numbers"), Terms: [][2]string{
		{t.T("Edition"), e.Hash},
		{t.T("As of"), t.dateText(e.AsOf)},
		{t.T("Prices"), t.T("%d read and accepted, %d of them behind a published price; %d held for a check, %d could not be read, %d repeated another.",
			e.Accepted, e.Counted, e.Held, e.Quarantined, e.Duplicate)},
		{t.T("Missing"), t.T("A value that is not known stays empty. It is never 0.")},
	}}
	if e.Invented {
		about.Text = []string{t.T("All places, shops and prices here are invented, to show how the pages work.")}
	}
	var sources []string
	for _, f := range sourcesOf(e) {
		sources = append(sources, label(f.Source.Source)+": "+t.sourceWords(f))
	}
	if sources != nil {
		about.Terms = append(about.Terms, [2]string{t.T("Sources"), strings.Join(sources, "; ") + "."})
	}
	if grounds {
		about.See = []layout.Link{{Text: t.T("Grounds: sources, licences, method, what the letters mean"), Href: fileName("grounds") + ".html"}}
	}
	return []layout.Part{about}
}

// sourceSum is the files of one source, added up.
type sourceSum struct {
	result.Source
	files int
}

func (t tongue) sourceWords(f sourceSum) string {
	s := t.Count(f.files, "one file", "%s files")
	if f.Producer != "" {
		s = clean(f.Producer) + ", " + s
	}
	if f.Licence != "" {
		s += ", " + clean(f.Licence)
	}
	return s
}

// sortedSources are the files of an edition by source and name.
func sortedSources(e *result.Edition) []result.Source {
	files := slices.Clone(e.Sources)
	slices.SortFunc(files, func(a, b result.Source) int {
		return cmp.Or(cmp.Compare(a.Source, b.Source), cmp.Compare(a.Name, b.Name), cmp.Compare(a.SHA256, b.SHA256))
	})
	return files
}

// sourcesOf adds up the files of each source that give the same kind of rows
// under the same licence.
func sourcesOf(e *result.Edition) (sums []sourceSum) {
	for _, f := range sortedSources(e) {
		n := len(sums) - 1
		if n < 0 || sums[n].Source.Source != f.Source || sums[n].Gives != f.Gives || sums[n].Licence != f.Licence || sums[n].Producer != f.Producer {
			sums = append(sums, sourceSum{f, 1})
			continue
		}
		sums[n].files++
		for _, add := range []struct {
			to *result.Int
			n  result.Int
		}{{&sums[n].Read, f.Read}, {&sums[n].Accepted, f.Accepted}, {&sums[n].Quarantined, f.Quarantined}, {&sums[n].Duplicate, f.Duplicate}, {&sums[n].Held, f.Held}} {
			if add.to.OK = add.to.OK && add.n.OK; add.to.OK {
				add.to.V += add.n.V
			}
		}
	}
	return sums
}

// dateText prints 2024-12-31 as "31 December 2024".
func (t tongue) dateText(s string) string { return t.day(s, 0, false) }
