package draw

import (
	"cmp"
	"encoding/json"
	"fmt"
	"html"
	"math"
	"math/big"
	"slices"
	"strconv"
	"strings"
)

// Panel is one of many small figures on one scale, over the same months.
type Panel struct {
	Title  string
	Last   string // the newest value, in words
	Points []Point
	Words  string // the panel as a sentence
}

// panelSize is how panels stand at a width.
type panelSize struct {
	width, panel, gap float64
	columns           int
}

var (
	widePanels = panelSize{width: Wide, panel: 152, gap: 23, columns: 4}
	slimPanels = panelSize{width: Slim, panel: 134, gap: 17, columns: 2}
)

const (
	panelLeft   = 38.0 // room for the scale
	panelTop    = 40.0 // two lines of type
	panelPlot   = 84.0
	panelHeight = panelTop + panelPlot + 36.0
)

// Panels draws small figures in rows, twice. from and to name the first and
// last month. They share one scale, which Scaled tells.
func Panels(w Words, list []Panel, from, to string, wideMark, slimMark []string) (wide, slim Drawing) {
	return panels(w, list, from, to, widePanels).marked(wideMark), panels(w, list, from, to, slimPanels).marked(slimMark)
}

// Scaled is the scale that panels share: that of what counts. A slip that is held
// would press all else flat; only where nothing else is there has it the scale.
func Scaled(list []Panel) (from, to, step float64) {
	var points [][]Point
	for _, p := range list {
		points = append(points, p.Points)
	}
	lo, hi := span(points...)
	if lo <= hi {
		return scale(lo, hi)
	}
	for _, p := range list {
		for _, at := range p.Points {
			if at.HeldLo != "" {
				lo, hi = min(lo, number(at.HeldLo)), max(hi, number(at.HeldHi))
			}
		}
	}
	return scale(lo, hi)
}

// Held says whether prices are held on the scale that panels share, above it and below.
func Held(list []Panel) (on, above, below bool) {
	lo, hi, _ := Scaled(list)
	for _, p := range list {
		for _, at := range p.Points {
			if at.HeldLo == "" {
				continue
			}
			for _, v := range [2]float64{number(at.HeldLo), number(at.HeldHi)} {
				on, above, below = on || lo <= v && v <= hi, above || v > hi, below || v < lo
			}
		}
	}
	return on, above, below
}

func panels(w Words, list []Panel, from, to string, s panelSize) Drawing {
	lo, hi, step := Scaled(list)
	var b strings.Builder
	area, height, months := plotArea{width: s.panel, top: panelTop, lo: lo, hi: hi}, panelHeight, 16.0
	_, above, below := Held(list)
	if above {
		area.top, height = area.top+heldRow, height+heldRow
	}
	if below {
		months, height = months+heldRow, height+heldRow
	}
	for i, p := range list {
		column := i % s.columns
		left, top := panelLeft+float64(column)*(s.panel+s.gap), float64(i/s.columns)*height
		fmt.Fprintf(&b, `<g transform="translate(%s %s)"><title>%s</title>`, px(left), px(top), html.EscapeString(p.Words))
		b.WriteString(text(0, 14, fitted(p.Title, s.panel, 13), `font-weight="700"`))
		b.WriteString(text(0, 30, fitted(p.Last, s.panel+s.gap-4, 12), small))
		var grid strings.Builder
		for k := 0.0; lo+k*step <= hi+step/2; k++ {
			v := lo + k*step
			fmt.Fprintf(&grid, "M0 %sH%s", px(area.y(v)), px(s.panel))
			if column == 0 {
				b.WriteString(text(-7, area.y(v)+4, w.axisNumber(v, step), end+" "+small))
			}
		}
		fmt.Fprintf(&b, `<path d="%s" stroke="%s"/>`, grid.String(), Hair)
		if len(p.Points) > 1 {
			area.pitch = s.panel / float64(len(p.Points)-1)
		}
		b.WriteString(trace(p.Points, area.pitch, area.y, w.NoPrices, area.base()-6) + area.held(w, p.Points))
		b.WriteString(text(0, area.base()+months, from, small))
		if from != to {
			b.WriteString(text(s.panel, area.base()+months, to, end+" "+small))
		}
		b.WriteString("</g>")
	}
	rows := (len(list) + s.columns - 1) / s.columns
	return Drawing{s.width, float64(rows) * height, b.String()}
}

// axisNumber prints a mark of a scale with the decimals its step needs.
func (w Words) axisNumber(v, step float64) string {
	decimals := 0
	for s := step; decimals < 6 && math.Abs(s-math.Round(s)) > 1e-9; s *= 10 {
		decimals++
	}
	return strings.Replace(w.Figure(fmt.Sprintf("%.*f", decimals, v)), "-", "\u2212", 1)
}

// fitted cuts text that is wider than its room.
func fitted(s string, width, size float64) string {
	if lines := Wrap(s, width, size); len(lines) > 1 {
		return lines[0] + "…"
	}
	return s
}

// trace draws points at a pitch: the band with its two edges, the line, broken
// to and from an imputed point, a ring on an imputed point that has room, a
// dot on the newest. Nothing crosses a gap; a wide one says so, at a height, unless
// prices are held in it.
func trace(points []Point, pitch float64, at func(float64) float64, none string, y float64) string {
	var band, edges, solid, dashed pen
	var rings, dots strings.Builder
	x := func(i int) float64 { return float64(i) * pitch }
	has := func(i int) bool { return i >= 0 && i < len(points) && points[i].Value != "" }
	last := -1
	for i := 0; i < len(points); i++ {
		if !has(i) {
			continue
		}
		last = i
		v, _, _ := points[i].numbers()
		if !has(i-1) && !has(i+1) && !points[i].Broken {
			fmt.Fprintf(&dots, `<circle cx="%s" cy="%s" r="2" fill="%s"/>`, tenth(x(i)), tenth(at(v)), Fed)
		}
		if broken := points[i].Broken; broken && (pitch >= 6 || !has(i-1) || !has(i+1) || !points[i-1].Broken && !points[i+1].Broken) {
			fmt.Fprintf(&rings, `<circle cx="%s" cy="%s" r="2.5" fill="%s" stroke="%s" stroke-width="1.25"/>`, tenth(x(i)), tenth(at(v)), Paper, Fed)
		}
		if has(i + 1) {
			next, _, _ := points[i+1].numbers()
			d := &solid
			if points[i].Broken || points[i+1].Broken {
				d = &dashed
			}
			if d.Len() == 0 || !has(i-1) || (points[i-1].Broken || points[i].Broken) != (points[i].Broken || points[i+1].Broken) {
				d.move(x(i), at(v))
			}
			d.line(x(i+1), at(next))
		}
	}
	for i := 0; i < len(points); i++ {
		first := i
		var low, high []float64
		for ; i < len(points); i++ {
			_, lo, hi := points[i].numbers()
			if !(lo <= hi) {
				break
			}
			low, high = append(low, at(lo)), append(high, at(hi))
		}
		switch n := i - first; {
		case n == 1: // a bar: a band of one month would not be seen
			for _, y := range []float64{low[0], high[0]} {
				edges.move(x(first)-2, y)
				edges.WriteString("h4")
			}
			edges.move(x(first), low[0])
			edges.line(x(first), high[0])
		case n > 1:
			band.move(x(first), high[0])
			edges.move(x(first), high[0])
			for k := 1; k < n; k++ {
				band.line(x(first+k), high[k])
				edges.line(x(first+k), high[k])
			}
			band.line(x(i-1), low[n-1])
			edges.move(x(i-1), low[n-1])
			for k := n - 2; k >= 0; k-- {
				band.line(x(first+k), low[k])
				edges.line(x(first+k), low[k])
			}
			band.WriteString("z")
		}
	}
	var b strings.Builder
	path := func(d pen, format string, args ...any) {
		if d.Len() > 0 {
			fmt.Fprintf(&b, `<path d="`+d.String()+`" `+format+`/>`, args...)
		}
	}
	path(band, `fill="%s"`, Tint)
	path(edges, `fill="none" stroke="%s"`, Edge)
	path(solid, `fill="none" stroke="%s" stroke-width="2" stroke-linejoin="round"`, Fed)
	path(dashed, `fill="none" stroke="%s" stroke-width="2" stroke-dasharray="4 3"`, Fed)
	b.WriteString(rings.String() + dots.String())
	if last >= 0 && !points[last].Broken {
		v, _, _ := points[last].numbers()
		fmt.Fprintf(&b, `<circle cx="%s" cy="%s" r="3" fill="%s"/>`, tenth(x(last)), tenth(at(v)), Fed)
	}
	for i := 0; i < len(points); i++ {
		first, held := i, false
		for i < len(points) && !has(i) {
			held = held || points[i].HeldLo != ""
			i++
		}
		if width := float64(i-first) * pitch; !held && (width >= 56 || i-first == len(points)) {
			const half = 28.0 // of the words
			middleOf := min(max((x(first)+x(i-1))/2, half), max(x(len(points)-1)-half, half))
			b.WriteString(text(middleOf, y, none, middle+` font-style="italic" `+small))
		}
	}
	return b.String()
}

// heldRow is the room past an end of the scale for what is held beyond it.
const heldRow = 13.0

// plotArea is where the points of a panel stand, on a scale from lo to hi.
type plotArea struct{ width, top, pitch, lo, hi float64 }

func (a plotArea) base() float64 { return a.top + panelPlot }

// y is the height of a value.
func (a plotArea) y(v float64) float64 { return a.top + (a.hi-v)/(a.hi-a.lo)*panelPlot }

// heldMark is a price held for a check: on the scale, above or below it.
type heldMark struct {
	price        json.Number
	v, x, y      float64 // the price, and its place
	above, below bool
}

// path is a square on its corner, or past the scale's end a tip.
func (m heldMark) path(d *pen, a plotArea) {
	const r = 4.0
	corners := [][2]float64{{m.x - r, m.y}, {m.x, m.y - r}, {m.x + r, m.y}, {m.x, m.y + r}}
	switch {
	case m.above:
		corners = [][2]float64{{m.x - r, a.top - 3}, {m.x, a.top - 10}, {m.x + r, a.top - 3}}
	case m.below:
		corners = [][2]float64{{m.x - r, a.base() + 3}, {m.x, a.base() + 10}, {m.x + r, a.base() + 3}}
	}
	d.move(corners[0][0], corners[0][1])
	for _, c := range corners[1:] {
		d.line(c[0], c[1])
	}
	d.WriteString("z")
}

// held draws the prices held for a check, hollow. Past each end of the scale the
// farthest has its value beside it, if there is room.
func (a plotArea) held(w Words, points []Point) string {
	var marks []heldMark
	for i, p := range points {
		from, to := a.mark(i, p.HeldLo), a.mark(i, p.HeldHi)
		switch {
		case math.IsNaN(from.v):
		case from.v == to.v, to.below: // both past one end: the farther
			marks = append(marks, from)
		case from.above:
			marks = append(marks, to)
		default:
			marks = append(marks, from, to)
		}
	}
	if marks == nil {
		return ""
	}
	var d pen
	var above, below []heldMark
	for _, m := range marks {
		m.path(&d, a)
		if m.above {
			above = append(above, m)
		} else if m.below {
			below = append(below, m)
		}
	}
	byPrice := func(x, y heldMark) int { return cmp.Compare(x.v, y.v) }
	svg := fmt.Sprintf(`<path d="%s" fill="%s" stroke="%s" stroke-width="1.5"/>`, d.String(), Paper, Ink)
	if above != nil {
		svg += a.priceOf(w, slices.MaxFunc(above, byPrice), above, a.top-2)
	}
	if below != nil {
		svg += a.priceOf(w, slices.MinFunc(below, byPrice), below, a.base()+11)
	}
	return svg
}

func (a plotArea) mark(i int, price json.Number) heldMark {
	v := number(price)
	return heldMark{price, v, float64(i) * a.pitch, a.y(v), v > a.hi, v < a.lo}
}

// priceOf writes a mark's price on a line of type, on the side that is clear of the
// other marks there; nothing where neither is.
func (a plotArea) priceOf(w Words, m heldMark, others []heldMark, y float64) string {
	words := w.Figure(heldPrice(m.price))
	room := em*12*float64(len([]rune(words))) + 8
	free := func(from, to float64) bool {
		return from >= 0 && to <= a.width && !slices.ContainsFunc(others, func(o heldMark) bool { return o.x != m.x && o.x > from-4 && o.x < to+4 })
	}
	switch {
	case free(m.x, m.x+room):
		return text(m.x+8, y, words, `font-size="12"`)
	case free(m.x-room, m.x):
		return text(m.x-8, y, words, end+` font-size="12"`)
	}
	return ""
}

// heldPrice prints a price with as many digits as tell it, halves away from zero.
func heldPrice(n json.Number) string {
	v := number(n)
	r, ok := new(big.Rat).SetString(n.String())
	switch {
	case !ok || v < 0.0001:
		return "<0.0001"
	case v >= 1000:
		return r.FloatString(0)
	case v >= 0.01:
		return r.FloatString(2)
	}
	return r.FloatString(4)
}

// pen writes a path, its lines as steps from point to point in tenths of a px that
// do not add up their rounding: fine enough for a panel's many points, and half the
// bytes of their places.
type pen struct {
	strings.Builder
	x, y int
}

func (p *pen) move(x, y float64) {
	p.x, p.y = tenths(x), tenths(y)
	p.WriteString("M" + tenth(x) + " " + tenth(y))
}

func (p *pen) line(x, y float64) {
	dx, dy := tenths(x)-p.x, tenths(y)-p.y
	p.x, p.y = p.x+dx, p.y+dy
	step := func(t int) {
		if t < 0 {
			p.WriteByte('-')
			t = -t
		}
		if t >= 10 || t == 0 {
			p.WriteString(strconv.Itoa(t / 10))
		}
		if t%10 > 0 {
			p.WriteString("." + strconv.Itoa(t%10))
		}
	}
	p.WriteByte('l')
	step(dx)
	if dy >= 0 {
		p.WriteByte(' ')
	}
	step(dy)
}

func tenths(v float64) int { return int(math.Round(v * 10)) }

// tenth prints a length to a tenth of a px.
func tenth(v float64) string { return px(math.Round(v*10) / 10) }
