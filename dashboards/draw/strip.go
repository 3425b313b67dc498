package draw

import (
	"fmt"
	"html"
	"math"
	"strings"
)

// Month is one row of a strip: a month drawn as its days.
type Month struct {
	Year int
	Name string // "Feb"
	Full string // "Feb 2024"
	Days int    // from the pay day to the next

	// Fed is the number of whole days fed, Part the fraction of the day after
	// them. Where Gap is not empty there is neither, and Gap says why.
	Fed  int
	Part float64
	Gap  string
	// Lo and Hi bound the days where a range is known; NaN where not.
	Lo, Hi float64

	Hatched bool   // over a quarter of the cost is imputed
	Count   string // the reach in figures, which may pass the month
	RunsOut string // when the money runs out: "28 Feb"
	OutDay  string // the same where there is little room: "28"
	Step    string // the allowance's step before this month; "" for none
	Words   string // the row as a sentence
}

// stripSize is how a strip is laid out at a width.
type stripSize struct {
	width, x0, pitch, mark, count float64
	inset                         float64 // of ink within a frame
	small                         bool    // little room: a heading a year, and a day without its month
	cuts                          int     // lines of hatching across a day
}

var (
	wideStrip = stripSize{width: Wide, x0: 78, pitch: 15, mark: 12, inset: 2.25, count: 605, cuts: 2}
	slimStrip = stripSize{width: Slim, x0: 28, pitch: 7.25, mark: 5.65, inset: 1.25, count: 288, small: true, cuts: 1}
)

// left is the left edge of the day after so many.
func (s stripSize) left(days int) float64 { return s.x0 + float64(days)*s.pitch }

const (
	markHeight = 13.0
	rowHeight  = 18.0
)

// Strips draws months under each other, twice: for a wide sheet and for a
// phone, each with its own lines of small type below.
func Strips(w Words, months []Month, wideMark, slimMark []string) (wide, slim Drawing) {
	return strips(w, months, wideStrip).marked(wideMark), strips(w, months, slimStrip).marked(slimMark)
}

func strips(w Words, months []Month, s stripSize) Drawing {
	count, out := w.Reach, w.RanOut
	if s.small {
		count, out = w.ReachSlim, w.RanOutSlim
	}
	var b strings.Builder
	for d := 1; d <= 29; d += 7 {
		b.WriteString(text(s.x0+float64(d-1)*s.pitch+s.mark/2, 12, fmt.Sprint(d), middle+" "+small))
	}
	b.WriteString(text(0, 12, w.Day, small))
	b.WriteString(text(s.count, 12, count, end+" "+small))
	b.WriteString(text(s.width, 12, out, end+" "+small))
	y := 20.0
	for i, m := range months {
		newYear := i == 0 || months[i-1].Year != m.Year
		if m.Step != "" {
			y += 8
			fmt.Fprintf(&b, `<path d="M0 %sH%s" stroke="%s" stroke-width="1.75"/>`, px(y), px(s.width), Ink)
			x := s.x0
			if s.small {
				x = 0
			}
			for _, line := range Wrap(m.Step, s.width-x, 12) {
				b.WriteString(text(x, y+15, line, `font-weight="700" font-size="12"`))
				y += 15
			}
			y += 7
		}
		switch {
		case s.small && newYear:
			b.WriteString(text(0, y+13, fmt.Sprint(m.Year), `font-weight="700"`))
			y += rowHeight
		case newYear && i > 0 && m.Step == "":
			y += 5
		}
		label := m.Name
		if newYear && !s.small {
			label = m.Full
		}
		weight := ""
		if i == len(months)-1 {
			weight = ` font-weight="700"`
		}
		fmt.Fprintf(&b, `<g%s><title>%s</title>`, weight, html.EscapeString(m.Words))
		b.WriteString(text(0, y+13, label, ""))
		if m.Gap != "" {
			b.WriteString(text(s.x0, y+13, m.Gap, `font-style="italic" fill="`+Muted+`"`))
		} else {
			b.WriteString(days(m, s, y+2))
			b.WriteString(text(s.count, y+13, m.Count, end))
			out := m.RunsOut
			if s.small {
				out = m.OutDay
			}
			b.WriteString(text(s.width, y+13, out, end+` fill="`+Muted+`"`))
		}
		b.WriteString("</g>")
		y += rowHeight
	}
	return Drawing{s.width, y + 4, b.String()}
}

// days are the marks of one month: one dashed stroke of ink through the last
// day fed, and a frame for each day after, the first of them inked in part. A
// range is a thin line below them, from its low to its high end.
func days(m Month, s stripSize, y float64) string {
	var b strings.Builder
	at := func(days float64) float64 { // where so many days end, within the frame of the last
		whole, part := math.Modf(days)
		if part == 0 && whole > 0 {
			return s.left(int(whole)-1) + s.mark
		}
		return s.left(int(whole)) + s.inset + part*(s.mark-2*s.inset)
	}
	mid := y + markHeight/2
	if m.Fed > 0 {
		fmt.Fprintf(&b, `<path d="M%s %sh%s" stroke="%s" stroke-width="%s" stroke-dasharray="%s %s"/>`,
			px(s.x0), px(mid), px(float64(m.Fed)*s.pitch), Fed, px(markHeight), px(s.mark), px(s.pitch-s.mark))
	}
	if m.Part > 0 && m.Fed < m.Days {
		fmt.Fprintf(&b, `<rect x="%s" y="%s" width="%s" height="%s" fill="%s"/>`,
			px(s.left(m.Fed)+s.inset), px(y+s.inset), px((s.mark-2*s.inset)*m.Part), px(markHeight-2*s.inset), Fed)
	}
	if m.Hatched {
		b.WriteString(cuts(s, y, 0, m.Fed))
	}
	if m.Fed < m.Days {
		var d strings.Builder
		for i := m.Fed; i < m.Days; i++ {
			fmt.Fprintf(&d, "M%s %sh%sv%sh%sz", px(s.left(i)+.625), px(y+.625), px(s.mark-1.25), px(markHeight-1.25), px(1.25-s.mark))
		}
		fmt.Fprintf(&b, `<path d="%s" fill="none" stroke="%s" stroke-width="1.25"/>`, d.String(), Short)
	}
	if lo, hi := max(m.Lo, 0), min(m.Hi, float64(m.Days)); lo < hi {
		below := y + markHeight + 2
		fmt.Fprintf(&b, `<path d="M%s %sH%s" stroke="%s" stroke-width="1.5"/>`, px(at(lo)), px(below), px(at(hi)), Ink)
	}
	return b.String()
}

// cuts hatch the marks from one to another with lines of paper that start anew in each mark,
// so that they stay clear in a mark of a few px.
func cuts(s stripSize, y float64, from, to int) string {
	var d strings.Builder
	for i := from; i < to; i++ {
		for k := range s.cuts {
			step := s.mark / float64(s.cuts)
			x := s.left(i) + float64(k)*step
			fmt.Fprintf(&d, "M%s %sl%s %s", px(x), px(y+markHeight), px(step), px(-markHeight))
		}
	}
	return fmt.Sprintf(`<path d="%s" stroke="%s" stroke-width="2" fill="none"/>`, d.String(), Paper)
}

// Sample is a mark for a key: "fed", "part", "open", "hatched" or "range" of
// a strip; "line", "band", "broken", "ring", "held" or "beyond" of a panel; "pure", "size",
// "mix", "filled" or "fall" of a staircase; "estimate", "possible" or "other" of a rank;
// "used", "kept", "lost" or "limit" of a purse.
func Sample(kind string) Drawing {
	nan := math.NaN()
	level := func(y float64) float64 { return y }
	panel := func(points ...Point) Drawing {
		return Drawing{30, 16, `<g transform="translate(3 0)">` + trace(points, 24/float64(len(points)-1), level, "", 0) + `</g>`}
	}
	rank := func(attr string) Drawing {
		return Drawing{18, 16, `<rect x="0.5" y="1.5" width="17" height="13" ` + attr + `/>`}
	}
	stair := func(kind int) Drawing { return Drawing{26, 16, block(kind, 0, 2, 26, stairHeight)} }
	strip := func(m Month) Drawing {
		s := wideStrip
		s.x0 = 0
		return Drawing{float64(m.Days)*s.pitch - 3, markHeight + 4, days(m, s, 1)}
	}
	switch kind {
	case "fed":
		return strip(Month{Days: 3, Fed: 3, Lo: nan, Hi: nan})
	case "part":
		return strip(Month{Days: 1, Part: 0.5, Lo: nan, Hi: nan})
	case "open":
		return strip(Month{Days: 2, Lo: nan, Hi: nan})
	case "hatched":
		return strip(Month{Days: 3, Fed: 3, Hatched: true, Lo: nan, Hi: nan})
	case "range":
		return strip(Month{Days: 4, Fed: 2, Part: 0.5, Lo: 1.5, Hi: 3.5})
	case "used":
		return Drawing{26, 17, purse(0, 1, 26, 26, 0)}
	case "kept":
		return Drawing{26, 17, purse(0, 1, 26, 0, 0)}
	case "lost":
		return Drawing{26, 17, purse(0, 1, 26, 0, 26)}
	case "limit":
		return Drawing{10, 17, `<path d="M5 0V17" stroke="` + Short + `" stroke-width="1.5" stroke-dasharray="4 3" fill="none"/>`}
	case "line":
		return panel(Point{Value: "8"}, Point{Value: "8"})
	case "band":
		return panel(Point{Value: "8", Lo: "2", Hi: "14"}, Point{Value: "8", Lo: "2", Hi: "14"})
	case "broken":
		return Drawing{30, 16, `<path d="M3 8h24" stroke="` + Fed + `" stroke-width="2" stroke-dasharray="4 3"/>`}
	case "ring":
		return panel(Point{}, Point{Value: "8", Broken: true}, Point{})
	case "held", "beyond":
		var d pen
		heldMark{x: 8, y: 8, above: kind == "beyond"}.path(&d, plotArea{top: 14})
		return Drawing{16, 16, fmt.Sprintf(`<path d="%s" fill="%s" stroke="%s" stroke-width="1.5"/>`, d.String(), Paper, Ink)}
	case "pure":
		return stair(Pure)
	case "size":
		return stair(Size)
	case "mix":
		return stair(Mix)
	case "filled":
		return stair(Filled)
	case "fall":
		return Drawing{26, 16, block(Pure, 0, 2, 26, stairHeight) + tip(0, 2, 26, stairHeight)}
	case "estimate":
		return rank(`fill="` + Fed + `"`)
	case "possible":
		return rank(`fill="` + Fed + `" fill-opacity="0.65"`)
	default:
		return rank(`fill="none" stroke="` + Rule + `"`)
	}
}

// shareMarks is how many marks stand for a whole.
const shareMarks = 50

// Shares draws a whole as 50 marks: observed inked, imputed hatched, the rest
// open. Each bound is rounded to a mark by itself, so that the marks add up.
func Shares(observed, imputed float64, wideMark, slimMark []string) (wide, slim Drawing) {
	bound := func(share float64) int { return min(max(int(math.Round(share*shareMarks)), 0), shareMarks) }
	seen, known := bound(observed), bound(observed+imputed)
	draw := func(s stripSize, perRow int) Drawing {
		var b strings.Builder
		s.x0 = 0
		y := 2.0
		for first := 0; first < shareMarks; first += perRow {
			row := func(n int) int { return min(max(n-first, 0), perRow) }
			nan := math.NaN()
			b.WriteString(days(Month{Days: perRow, Fed: row(known), Lo: nan, Hi: nan}, s, y))
			if row(known) > row(seen) {
				b.WriteString(cuts(s, y, row(seen), row(known)))
			}
			y += rowHeight
		}
		return Drawing{s.width, y, b.String()}
	}
	w, n := wideStrip, slimStrip
	w.pitch, w.mark = 14.4, 11.4
	n.pitch, n.mark, n.cuts = 13, 10.4, 2
	return draw(w, 50).marked(wideMark), draw(n, 25).marked(slimMark)
}
