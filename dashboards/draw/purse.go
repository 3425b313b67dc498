package draw

import (
	"fmt"
	"html"
	"strings"
	"unicode/utf8"
)

// Purse is a bar of money: what must be paid, the part of it that is used, and
// the part that spoils. What is neither used nor spoils is kept.
type Purse struct {
	Name, Value       string // Value as printed at the end of the bar
	Whole, Used, Lost float64
	Gap               string // words in place of a bar that has no length
	Words             string
}

type purseSize struct {
	width, x0, x1, row float64
	two                bool // the name stands above its bar
}

var (
	widePurse = purseSize{width: Wide, x0: 200, x1: 600, row: 27}
	slimPurse = purseSize{width: Slim, x0: 1, x1: 326, row: 42, two: true}
)

const purseHeight = 15.0

// Purses draws bars of one scale from zero: outlined as far as must be paid, inked as
// far as it is used, hatched where it spoils. A broken upright stands at limit, if that is above 0.
func Purses(w Words, rows []Purse, unit string, limit float64, limitWords string, wideMark, slimMark []string) (wide, slim Drawing) {
	return purses(w, rows, unit, limit, limitWords, widePurse).marked(wideMark), purses(w, rows, unit, limit, limitWords, slimPurse).marked(slimMark)
}

func purses(w Words, rows []Purse, unit string, limit float64, limitWords string, s purseSize) Drawing {
	most := limit
	for _, r := range rows {
		most = max(most, r.Whole, r.Used)
	}
	_, to, step := scale(0, most)
	at := func(v float64) float64 { return s.x0 + v/to*(s.x1-s.x0) }
	top := 24.0
	if limit > 0 {
		top = 42
	}
	height := top + float64(len(rows))*s.row
	var b, grid, words strings.Builder // words stand over the limit's line, with paper around them
	for k := 0.0; k*step <= to+step/2; k++ {
		fmt.Fprintf(&grid, "M%s %sV%s", px(at(k*step)), px(top-6), px(height))
		number, anchor := w.axisNumber(k*step, step), middle
		switch {
		case k == 0:
			number, anchor = number+" "+unit, ""
		case s.two && k*step > to-step/2:
			anchor = end
		}
		b.WriteString(text(at(k*step), top-10, number, strings.TrimSpace(anchor+" "+small)))
	}
	fmt.Fprintf(&b, `<path d="%s" stroke="%s"/>`, grid.String(), Hair)
	for i, r := range rows {
		y := top + float64(i)*s.row
		fmt.Fprintf(&b, `<g><title>%s</title>`, html.EscapeString(r.Words))
		bar, value := y, at(max(r.Whole, r.Used))+8
		if s.two {
			bar = y + 18
			words.WriteString(text(0, y+12, fitted(r.Name, s.width-130, 13), halo) + text(s.width, y+12, r.Value, end+" "+halo))
		} else {
			b.WriteString(text(0, y+12, fitted(r.Name, s.x0-14, 13), ""))
			if x := at(limit); limit > 0 && value < x+4 && x-4 < value+em*13*float64(utf8.RuneCountInString(r.Value)) {
				value = x + 6 // clear of the limit's line
			}
			if r.Gap == "" {
				words.WriteString(text(value, y+12, r.Value, halo))
			}
		}
		if r.Gap != "" {
			b.WriteString(text(s.x0+3, bar+12, r.Gap, `font-style="italic" `+small))
		} else {
			b.WriteString(purse(s.x0, bar, at(r.Whole)-s.x0, at(r.Used)-s.x0, at(r.Lost)-s.x0))
		}
		b.WriteString("</g>")
	}
	if limit > 0 {
		fmt.Fprintf(&b, `<path d="M%s %sV%s" stroke="%s" stroke-width="1.5" stroke-dasharray="4 3" fill="none"/>`, px(at(limit)), px(top-24), px(height), Short)
		x, anchor := at(limit)+4, ""
		if at(limit) > s.width/2 {
			x, anchor = at(limit)-4, end+" "
		}
		b.WriteString(text(x, 12, limitWords, anchor+`font-size="12" fill="`+Short+`"`))
	}
	return Drawing{s.width, height + 4, b.String() + words.String()}
}

// halo keeps a line behind type from crossing it.
const halo = `stroke="` + Paper + `" stroke-width="4" paint-order="stroke"`

// purse is one bar of the lengths given: the outline, the ink, and the hatching at its end.
func purse(x, y, whole, used, lost float64) string {
	var b strings.Builder
	if whole > 1 {
		fmt.Fprintf(&b, `<rect x="%s" y="%s" width="%s" height="%s" fill="none" stroke="%s"/>`, px(x+.5), px(y+.5), px(whole-1), px(purseHeight-1), Rule)
	}
	if used > 0 {
		fmt.Fprintf(&b, `<rect x="%s" y="%s" width="%s" height="%s" fill="%s"/>`, px(x), px(y), px(used), px(purseHeight), Fed)
	}
	if lost > 1 {
		fmt.Fprintf(&b, `<rect x="%s" y="%s" width="%s" height="%s" fill="none" stroke="%s"/>`, px(x+whole-lost+.5), px(y+.5), px(lost-1), px(purseHeight-1), Short)
		fmt.Fprintf(&b, `<path d="%s" stroke="%s" stroke-width="1.5" fill="none"/>`, slants(x+whole-lost, y, lost, purseHeight), Short)
	}
	return b.String()
}

// slants are lines at 45 degrees that fill a box and end at its edges.
func slants(x, y, width, height float64) string {
	var d strings.Builder
	for k := 5 - height; k < width; k += 5 {
		from, to := max(k, 0), min(k+height, width)
		if to > from {
			fmt.Fprintf(&d, "M%s %sL%s %s", px(x+from), px(y+height-(from-k)), px(x+to), px(y+height-(to-k)))
		}
	}
	return d.String()
}
