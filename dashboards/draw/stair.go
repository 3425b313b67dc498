package draw

import (
	"fmt"
	"html"
	"math"
	"strings"
)

// Parts is what one line adds to a sum, by where it comes from; a part may be negative.
type Parts [4]float64

// The parts of a line: its own price, the size of its packs, what is neither,
// and what can not be parted because the price is imputed.
const (
	Pure = iota
	Size
	Mix
	Filled
)

// Add adds parts to parts.
func (p *Parts) Add(q Parts) {
	for k := range q {
		p[k] += q[k]
	}
}

// Sum of the parts.
func (p Parts) Sum() (sum float64) {
	for _, v := range p {
		sum += v
	}
	return sum
}

// Stair is one line of a staircase: its name, its own change and what it adds, as printed.
type Stair struct {
	Name, Change, Value string
	Parts               Parts
	Words               string
}

// stairSize is how a staircase is laid out at a width; bar is where in a row
// the bar stands: below its words where there is little room.
type stairSize struct {
	width, name, change, left, right, row, bar float64
}

var (
	wideStairs = stairSize{width: Wide, name: 180, change: 250, left: 270, right: 656, row: 23, bar: 5}
	slimStairs = stairSize{width: Slim, name: 190, change: 256, left: 2, right: 326, row: 38, bar: 20}
)

const stairHeight = 11.0

// Stairs draws lines that add up, twice: each bar starts where the last one
// ended, and the sum stands under a rule, from zero. change and value name the
// two columns of figures.
func Stairs(w Words, lines []Stair, sum Stair, change, value string, wideMark, slimMark []string) (wide, slim Drawing) {
	return stairs(w, lines, sum, change, value, wideStairs).marked(wideMark), stairs(w, lines, sum, change, value, slimStairs).marked(slimMark)
}

func stairs(w Words, lines []Stair, sum Stair, change, value string, s stairSize) Drawing {
	lo, hi, at := 0.0, 0.0, 0.0
	for _, l := range lines {
		for _, v := range l.Parts {
			at += v
			lo, hi = min(lo, at), max(hi, at)
		}
	}
	from, to, step := scale(lo, hi)
	x := func(v float64) float64 { return s.left + (v-from)/(to-from)*(s.right-s.left) }
	const top = 40.0
	heads, numbers := 12.0, 30.0 // over the bars and over their words stands what is theirs
	if s.bar > stairHeight {
		heads, numbers = numbers, heads
	}
	height := top + float64(len(lines)+1)*s.row + 6
	var b, grid, links, rows strings.Builder
	b.WriteString(text(s.change, heads, change, end+" "+small) + text(s.width, heads, value, end+" "+small))
	every := int(math.Ceil(38 / (x(from+step) - x(from)))) // so many steps that the numbers stay apart
	for k := 0.0; from+k*step <= to+step/2; k++ {
		v := from + k*step
		if s.bar < stairHeight { // words and bars have columns of their own
			fmt.Fprintf(&grid, "M%s %sV%s", px(x(v)), px(top-4), px(height))
		} else {
			for i := range len(lines) + 1 {
				y := top + float64(i)*s.row + s.bar
				if i == len(lines) {
					y += 6
				}
				fmt.Fprintf(&grid, "M%s %sv%s", px(x(v)), px(y-2), px(stairHeight+4))
			}
		}
		if mine := s.bar < stairHeight || x(v) < s.change-60; int(k)%every == 0 && mine { // else it would stand over what is not its own
			n, anchor := w.axisNumber(v, step), middle
			switch {
			case v > step/2:
				n = "+" + n
			case v > -step/2:
				n += " " + value
			}
			if x(v) < 12 { // no room to the left
				anchor = ""
			}
			if x(v) > s.width-12 {
				anchor = end
			}
			b.WriteString(text(x(v), numbers, n, strings.TrimSpace(anchor+" "+small)))
		}
	}
	fmt.Fprintf(&b, `<path d="%s" stroke="%s"/><path d="M%s %sV%s" stroke="%s"/>`, grid.String(), Hair, px(x(0)), px(top-4), px(height), Rule)
	at = 0
	y := top
	for _, l := range lines {
		drawn, bothWays := bar(l.Parts, at, x, y+s.bar)
		rows.WriteString(s.open(l, y, "") + drawn)
		at += l.Parts.Sum()
		if w := x(0) - x(l.Parts.Sum()); w > 1 && !bothWays { // a bar of two halves points each part
			rows.WriteString(tip(x(at), y+s.bar, w, stairHeight))
		}
		rows.WriteString("</g>")
		fmt.Fprintf(&links, "M%s %sV%s", px(x(at)), px(y+s.bar), px(y+s.row+s.bar+stairHeight))
		y += s.row
	}
	y += 6
	fmt.Fprintf(&b, `<path d="%s" fill="none" stroke="%s"/>`, links.String(), Rule)
	b.WriteString(rows.String())
	fmt.Fprintf(&b, `<path d="M0 %sH%s" stroke="%s" stroke-width="1.5"/>`, px(y-3), px(s.width), Ink)
	b.WriteString(s.open(sum, y, ` font-weight="700"`))
	fmt.Fprintf(&b, `<rect x="%s" y="%s" width="%s" height="%s" fill="%s"/></g>`, px(min(x(0), x(at))), px(y+s.bar), px(math.Abs(x(at)-x(0))), px(stairHeight), Ink)
	return Drawing{s.width, height + 4, b.String()}
}

// open starts a row: its words and figures. They keep clear of the lines behind them.
func (s stairSize) open(l Stair, y float64, weight string) string {
	return fmt.Sprintf(`<g%s><title>%s</title>`, weight, html.EscapeString(l.Words)) +
		text(0, y+15, fitted(l.Name, s.name, 13), halo) + text(s.change, y+15, l.Change, end+" "+halo) + text(s.width, y+15, l.Value, end+" "+halo)
}

// bar draws parts one after another from where the last line ended. Parts that
// run forth and back would cover each other, so each direction gets half the height.
func bar(p Parts, at float64, x func(float64) float64, y float64) (svg string, bothWays bool) {
	forth, back := false, false
	for _, v := range p {
		w := x(v) - x(0)
		forth, back = forth || w > 1, back || w < -1 // less is not seen
	}
	var b strings.Builder
	for kind, v := range p {
		if v == 0 {
			continue
		}
		left, right, top, height := min(x(at), x(at+v)), max(x(at), x(at+v)), y, stairHeight
		if forth && back {
			height /= 2
			if v < 0 {
				top += height
			}
		}
		b.WriteString(block(kind, left, top, right-left, height))
		if w := right - left; forth && back && v < 0 && w > 1 {
			b.WriteString(tip(left, top, w, height))
		}
		at += v
	}
	return b.String(), forth && back
}

// tip points a bar of a width and height at its left, where it takes off: else only its sign tells it from a rise.
func tip(x, y, width, height float64) string {
	w, half := min(width, 6), height/2
	return fmt.Sprintf(`<path d="M%s %sH%sL%s %sL%s %sH%sz" fill="%s"/><path d="M%s %sL%s %sL%s %s" fill="none" stroke="%s" stroke-width="1.2"/>`,
		px(x-.6), px(y-.6), px(x+w), px(x), px(y+half), px(x+w), px(y+height+.6), px(x-.6), Paper,
		px(x+w), px(y), px(x), px(y+half), px(x+w), px(y+height), Fed)
}

// block is one part of a bar: solid, hatched, outlined, or outlined in broken line.
func block(kind int, x, y, w, h float64) string {
	if kind == Pure {
		return fmt.Sprintf(`<rect x="%s" y="%s" width="%s" height="%s" fill="%s"/>`, px(x), px(y), px(w), px(h), Fed)
	}
	x, y, w, h = x+.6, y+.6, max(w-1.2, .1), h-1.2
	attr := ""
	if kind == Filled {
		attr = ` stroke-dasharray="3 2"`
	}
	box := fmt.Sprintf(`<rect x="%s" y="%s" width="%s" height="%s" fill="%s" stroke="%s" stroke-width="1.2"%s/>`, px(x), px(y), px(w), px(h), Paper, Fed, attr)
	if kind != Size {
		return box
	}
	var d strings.Builder
	for c := 3 - h; c < w; c += 4 { // a line from (c, h) to (c+h, 0), cut to the box
		a, z := max(c, 0), min(c+h, w)
		fmt.Fprintf(&d, "M%s %sL%s %s", px(x+a), px(y+h-(a-c)), px(x+z), px(y+h-(z-c)))
	}
	return box + fmt.Sprintf(`<path d="%s" fill="none" stroke="%s" stroke-width="1.5"/>`, d.String(), Fed)
}
