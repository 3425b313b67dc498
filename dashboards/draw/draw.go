// Package draw turns numbers into SVG: month strips, shares, ranks, staircases, and
// lines over months, large or as panels of one scale. It knows neither results nor
// pages, and computes nothing but places on the paper.
//
// Colours are presentation attributes in the light palette, so that a drawing
// stands alone as a file; a style sheet re-inks it for other papers by
// selectors such as [fill="#23405c"]. Nothing uses a style attribute, an id or
// a script, so a drawing passes a strict content security policy.
package draw

import (
	"bytes"
	"cmp"
	"fmt"
	"html"
	"strconv"
	"strings"
)

// The light palette: two inks on paper. Fed says covered, Short not covered.
const (
	Paper = "#fbf8f2"
	Ink   = "#1e2428"
	Muted = "#585d61"
	Fed   = "#23405c"
	Short = "#b0371a"
	Rule  = "#857e70"
	Hair  = "#ddd6c8"
	Tint  = "#dfe4e6" // between the edges of a range
	Edge  = "#6f8496"
)

// The two widths a figure is drawn for, in px: type is never scaled down.
const (
	Wide = 720
	Slim = 328
)

// sans is the type of a drawing that stands alone; the style sheet has a longer list.
const sans = "Seravek,Ubuntu,Calibri,'Liberation Sans',Arial,sans-serif"

// Words are what drawings say by themselves, and the marks of their numbers.
type Words struct {
	Day, Reach, ReachSlim, RanOut, RanOutSlim, Rank, NoPrices string

	Decimal, Thousands string // Decimal "" is a point; Thousands may be ""
}

// Figure gives printed digits the marks.
func (w Words) Figure(s string) string {
	if cmp.Or(w.Decimal, ".") == "." && w.Thousands == "" {
		return s
	}
	before, after, point := strings.Cut(s, ".")
	first := strings.IndexFunc(before, func(r rune) bool { return r >= '0' && r <= '9' })
	for i := len(before) - 3; first >= 0 && i > first; i -= 3 {
		before = before[:i] + w.Thousands + before[i:]
	}
	if point {
		before += w.Decimal + after
	}
	return before
}

// Drawing is a picture: its size in px and the elements inside its svg element.
type Drawing struct {
	Width, Height float64
	Inner         string
}

// Inline is the drawing as an element of a page; label says in words what it shows.
func (d Drawing) Inline(class, label string) string {
	return fmt.Sprintf(`<svg class="%s" viewBox="0 0 %s %s" width="%s" height="%s" role="img" aria-label="%s" font-size="13" fill="%s">%s</svg>`,
		class, px(d.Width), px(d.Height), px(d.Width), px(d.Height), html.EscapeString(label), Ink, d.Inner)
}

// markLine is the height of a line of small type below a drawing.
const markLine = 16

// markRoom is the height of some.
func markRoom(lines []string) float64 {
	if len(lines) == 0 {
		return 0
	}
	return markLine*float64(len(lines)) + 4
}

// marked adds lines of small type below the drawing.
func (d Drawing) marked(lines []string) Drawing {
	for i, l := range lines {
		d.Inner += text(0, d.Height+markLine*float64(i)+14, l, small)
	}
	d.Height += markRoom(lines)
	return d
}

// File is the drawing as a file of its own, with a headline and a subtitle
// above it and notes below, so that it can stand without its page.
func (d Drawing) File(headline, subtitle string, notes ...string) []byte {
	const margin = 24.0
	var head bytes.Buffer
	y := margin
	for _, l := range Wrap(headline, d.Width, 21) {
		y += 27
		head.WriteString(text(margin, y-6, l, `font-size="21" font-weight="700"`))
	}
	for _, l := range Wrap(subtitle, d.Width, 14) {
		y += 19
		head.WriteString(text(margin, y-4, l, `font-size="14" fill="`+Muted+`"`))
	}
	y += 14
	top := y
	y += d.Height
	for _, note := range notes {
		for _, l := range Wrap(note, d.Width, 12) {
			y += 16
			head.WriteString(text(margin, y-2, l, small))
		}
		y += 3
	}
	var b bytes.Buffer
	w, h := px(d.Width+2*margin), px(y+margin)
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %s %s" width="%s" height="%s" role="img" aria-label="%s" font-family="%s" font-size="13" fill="%s">`,
		w, h, w, h, html.EscapeString(headline), sans, Ink)
	fmt.Fprintf(&b, `<rect width="%s" height="%s" fill="%s"/>%s<g transform="translate(%s %s)">%s</g></svg>`+"\n",
		w, h, Paper, head.String(), px(margin), px(top), d.Inner)
	return b.Bytes()
}

// em is how wide a character is by its size, estimated on the wide side for a sans.
const em = 0.56

// Wrap breaks text into lines that fit width at a type size, by an estimate of
// em a character. A word longer than a line is cut.
func Wrap(text string, width, size float64) []string {
	limit := int(width / (em * size))
	var lines []string
	var line []rune
	for _, word := range strings.Fields(text) {
		w := []rune(word)
		if len(line) > 0 && len(line)+1+len(w) > limit {
			lines, line = append(lines, string(line)), nil
		}
		if len(line) > 0 {
			line = append(line, ' ')
		}
		for len(w) > limit {
			lines, w = append(lines, string(w[:limit])), w[limit:]
		}
		line = append(line, w...)
	}
	if len(line) > 0 {
		lines = append(lines, string(line))
	}
	return lines
}

// px prints a length with at most two decimals.
func px(v float64) string {
	s := strconv.FormatFloat(v, 'f', 2, 64)
	s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	if s == "-0" || s == "" {
		return "0"
	}
	return s
}

// text is one line of type at a place; attr are further attributes.
func text(x, y float64, s, attr string) string {
	if attr != "" {
		attr = " " + attr
	}
	return fmt.Sprintf(`<text x="%s" y="%s"%s>%s</text>`, px(x), px(y), attr, html.EscapeString(s))
}

const (
	end    = `text-anchor="end"`
	middle = `text-anchor="middle"`
	small  = `font-size="12" fill="` + Muted + `"`
)
