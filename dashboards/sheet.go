package dashboards

import (
	"strings"

	"farthing/dashboards/draw"
	"farthing/dashboards/layout"
	"farthing/pipeline/result"
)

// sheetMonths is how many months a sheet of paper has room for.
const sheetMonths = 12

// sheetPage is the Reach page on one sheet of paper: finding, figure, table,
// method, cautions, citation.
func sheetPage(s *site, v *view, file string) (layout.Page, error) {
	p := layout.Page{Title: s.T("One page to print: %s in %s", v.householdName(), v.region()), Sheet: true,
		About: v.about(), Caution: v.caution(), See: []layout.Link{{Text: s.T("The full page, with every month"), Href: s.href(kinds()[0], v.c)}}}
	at := v.speaks()
	p.Headline, p.Strong = v.reachHeadline(at)
	p.Lead = v.reachLead(at)
	if n := len(v.reach); n > 0 {
		last := n - 1
		if at >= 0 { // a long gap after the newest figure leaves that figure on the sheet
			last = min(last, at+sheetMonths/2)
		}
		p.Parts = append(p.Parts, v.sheetMonths(v.reach[max(0, last+1-sheetMonths):last+1]))
	}
	if at >= 0 {
		p.Parts = append(p.Parts, v.pencil(at))
	}
	p.Parts = append(p.Parts, v.sheetCautions(), s.sheetCite())
	return p, nil
}

// sheetMonths draws and tables some months.
func (v *view) sheetMonths(rows []result.Reach) layout.Part {
	p := layout.Part{ID: "days", Open: true, Headline: v.T("Month by month, %s", v.span(rows[0].Month, rows[len(rows)-1].Month)), Table: v.reachTable(rows)}
	p.Table.Caption = v.T("Money in %s, with the digits of the data file. Reach is the allowance over the cost a day.%s", v.currency, v.statusKey(v.e, p.Table.Rows))
	months, _, _ := v.stripMonths(rows)
	for _, m := range months {
		if m.Gap == "" {
			var mark []string // the sheet has its own citation
			if v.e.Invented {
				mark = []string{v.T("Invented demo data.")}
			}
			wide, slim := draw.Strips(v.drawing(), months, mark, mark)
			words := v.T("%s. The table below has the same months.", p.Headline)
			p.Plots, p.Key = []layout.Plot{plot("wide", wide, words, nil), plot("slim", slim, words, nil)}, v.stripKey(months)
			break
		}
	}
	return p
}

// sheetCautions are the page's, with its notes counted.
func (v *view) sheetCautions() layout.Part {
	p := v.cautions()
	p.Headline = v.T("What this sheet does not say")
	if n := len(p.Warnings); n > 0 {
		p.Text = append(p.Text, upper(v.Count(n, "one note on these data stands on the full page.", "%s notes on these data stand on the full page.")))
	}
	p.Text, p.Warnings, p.Foot = []string{strings.Join(p.Text, " ")}, nil, nil
	return p
}

// sheetCite names the edition and whose prices it rests on.
func (s *site) sheetCite() layout.Part {
	var sources []string
	for _, f := range sourcesOf(s.e) {
		sources = append(sources, label(f.Source.Source)+" ("+s.sourceWords(f)+")")
	}
	p := layout.Part{ID: "cite", Headline: s.T("Where it comes from"), Text: []string{s.citation()}}
	if s.e.Invented {
		p.Text[0] += " " + s.T("All places, shops and prices are invented.")
	}
	if sources != nil {
		p.Text[0] += " " + s.T("Sources: %s.", s.list(sources, 6))
	}
	p.Text[0] += " " + s.T("Every file and the method: the page Grounds; the numbers: reach.csv.")
	return p
}

// citation says how an edition is cited.
func (s *site) citation() string {
	return s.T("Cite as: %s, edition %s, as of %s.", clean(s.e.Name), s.e.Hash, s.dateText(s.e.AsOf))
}
