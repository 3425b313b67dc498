package draw

import (
	_ "embed"
	"encoding/json"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/go-echarts/go-echarts/v2/charts"
	"github.com/go-echarts/go-echarts/v2/opts"
)

// Point is a month's value as it is published, "" where there is none.
type Point struct {
	Value  json.Number
	Lo, Hi json.Number // the range across the shops seen; both or neither
	Broken bool        // the line to and from it is broken: much of it is imputed

	HeldLo, HeldHi json.Number // lowest and highest of what is held for a check, which panels alone draw; both or neither
}

// numbers are the point's value and bounds, NaN where missing.
func (p Point) numbers() (v, lo, hi float64) {
	return number(p.Value), number(p.Lo), number(p.Hi)
}

// number is NaN for what is missing, which is most of what is asked: to let it fail costs more.
func number(n json.Number) float64 {
	if n == "" {
		return math.NaN()
	}
	x, err := n.Float64()
	if err != nil {
		return math.NaN()
	}
	return x
}

// Series is one line over the months.
type Series struct {
	Name   string // printed at the line's end with the last value
	Last   string // that value as printed
	Points []Point
	Step   bool   // changes at once between two months: never interpolated
	Gap    string // what is said at a gap
}

func (s Series) ranged() bool {
	return slices.ContainsFunc(s.Points, func(p Point) bool { return p.Lo != "" && p.Hi != "" })
}

// Lines is a figure of lines over the same months, in one unit.
type Lines struct {
	Months []string // axis labels, "" for a month without one
	Series []Series
	Words  Words
}

// span is the smallest and largest value of some points, their ranges
// included; lo > hi where there is none.
func span(lists ...[]Point) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, points := range lists {
		for _, p := range points {
			for _, n := range []json.Number{p.Value, p.Lo, p.Hi} {
				if v := number(n); !math.IsNaN(v) {
					lo, hi = min(lo, v), max(hi, v)
				}
			}
		}
	}
	return lo, hi
}

func (l Lines) span() (lo, hi float64) {
	var lists [][]Point
	for _, s := range l.Series {
		lists = append(lists, s.Points)
	}
	return span(lists...)
}

// Any says whether there is a value to draw.
func (l Lines) Any() bool {
	lo, hi := l.span()
	return lo <= hi
}

// Scale is the figure's value axis.
func (l Lines) Scale() (from, to, step float64) { return scale(l.span()) }

// scale is where a value axis starts and ends, and the step between its
// marks: 1, 2 or 5 times a power of ten, four to eight of them.
func scale(lo, hi float64) (from, to, step float64) {
	if lo > hi {
		return 0, 1, 1
	}
	if lo == hi {
		lo, hi = lo-math.Abs(lo)*0.05, hi+math.Abs(hi)*0.05
		if lo == hi {
			lo, hi = 0, 1
		}
	}
	raw := (hi - lo) / 4
	pow := math.Pow(10, math.Floor(math.Log10(raw)))
	step = 10 * pow
	for _, m := range []float64{1, 2, 5} {
		if m*pow >= raw {
			step = m * pow
			break
		}
	}
	// Multiples of a step print and compare cleanly only when rounded again.
	clean := func(v float64) float64 {
		r, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 12, 64), 64)
		return r
	}
	return clean(math.Floor(lo/step) * step), clean(math.Ceil(hi/step) * step), clean(step)
}

// Size is a line figure's size in px at a width.
func (l Lines) Size(width float64) (w, h float64) {
	if width < Wide {
		return width, 220
	}
	return width, 260
}

// Option is the chart library's option at a width, as JSON that may stand in
// a script element: <, > and & are escaped. mark is lines of small type at the
// foot, below the height of Size.
func (l Lines) Option(width float64, mark []string) (json.RawMessage, error) {
	const top = 14.0
	foot := markRoom(mark)
	bottom := 30 + foot
	_, height := l.Size(width)
	height += foot
	from, to, step := l.Scale()
	c := charts.NewLine()
	c.SetGlobalOptions(
		charts.WithAnimation(false),
		charts.WithLegendOpts(opts.Legend{Show: opts.Bool(false)}),
		charts.WithTooltipOpts(opts.Tooltip{Show: opts.Bool(false)}),
		charts.WithTitleOpts(opts.Title{Title: strings.Join(mark, "\n"), Left: "-5", Bottom: "0", // less its own padding
			TitleStyle: &opts.TextStyle{Color: Muted, FontSize: 12, FontWeight: "normal", LineHeight: markLine}}),
		charts.WithGridOpts(opts.Grid{Left: "46", Right: "82", Top: px(top), Bottom: px(bottom)}),
		charts.WithXAxisOpts(opts.XAxis{
			Type:        "category",
			AxisLabel:   &opts.AxisLabel{Color: Muted, FontSize: 12},
			AxisTick:    &opts.AxisTick{Show: opts.Bool(false)},
			AxisLine:    &opts.AxisLine{LineStyle: &opts.LineStyle{Color: Rule, Width: 1}},
			AxisPointer: &opts.AxisPointer{Show: opts.Bool(true), Type: "line", Label: &opts.Label{Show: opts.Bool(false)}},
		}),
		charts.WithYAxisOpts(opts.YAxis{
			Type: "value", Min: from, Max: to, MinInterval: step, MaxInterval: step,
			AxisLabel: &opts.AxisLabel{Color: Muted, FontSize: 12},
			SplitLine: &opts.SplitLine{Show: opts.Bool(true), LineStyle: &opts.LineStyle{Color: Hair, Width: 1}},
		}),
	)
	c.Colors = []string{Fed, Ink}
	c.SetXAxis(l.Months)
	at := func(s Series) float64 { // px of a series' last value, for its label
		for i := len(s.Points) - 1; i >= 0; i-- {
			if v := number(s.Points[i].Value); !math.IsNaN(v) {
				return (to - v) / (to - from) * (height - top - bottom)
			}
		}
		return math.NaN()
	}
	for _, s := range l.Series {
		if s.ranged() {
			addBand(c, s)
		}
	}
	for i, s := range l.Series {
		ink, align := Fed, ""
		if s.Step {
			ink = Ink
		}
		if len(l.Series) == 2 {
			if gap := at(s) - at(l.Series[1-i]); math.Abs(gap) < 32 { // two lines of type
				align = "bottom"
				if gap > 0 || gap == 0 && i == 1 {
					align = "top"
				}
			}
		}
		addLine(c, s, ink, align)
	}
	l.addGaps(c, from, to)
	c.Validate()
	option := c.JSON()
	var list []series
	for _, of := range c.MultiSeries {
		if data, ok := of.Data.([]opts.LineData); ok {
			of.Data = bare(data)
		}
		list = append(list, series{SingleSeries: of, ShowAllSymbol: true})
	}
	option["series"] = list
	option["xAxis"] = []namedAxis{named(c.XAxisList[0], l.Months)}
	return json.Marshal(option)
}

// series is one of the library's with what its builder lacks. Else it would leave
// out the symbols between the named months where there is little room, and the
// label of the newest value with them; nothing needs to be cut off, since the scale
// holds every value.
type series struct {
	charts.SingleSeries
	ShowAllSymbol bool `json:"showAllSymbol"`
	Clip          bool `json:"clip"`
}

// bare is data with a value that has no more to it as the value alone, a third of the bytes.
func bare(data []opts.LineData) []any {
	list := make([]any, len(data))
	for i, d := range data {
		if list[i] = d; d == (opts.LineData{Value: d.Value}) {
			list[i] = d.Value
		}
	}
	return list
}

// namedAxis is an axis of months of which few carry a name: a label made for each,
// as the library does, takes a quarter of the time of a figure.
type namedAxis struct {
	opts.XAxis
	AxisLabel namedLabel `json:"axisLabel"`
}

type namedLabel struct {
	*opts.AxisLabel
	CustomValues []int `json:"customValues"`
}

func named(axis opts.XAxis, months []string) namedAxis {
	at := []int{}
	for i, m := range months {
		if m != "" {
			at = append(at, i)
		}
	}
	return namedAxis{axis, namedLabel{axis.AxisLabel, at}}
}

// addLine adds a series as few of the library's as can be, since each costs
// its time: the line, whose newest point carries the label, its broken parts,
// and points that stand alone.
func addLine(c *charts.Line, s Series, ink, align string) {
	n := len(s.Points)
	has := func(i int) bool { return i >= 0 && i < n && s.Points[i].Value != "" }
	broken := func(i int) bool { return has(i) && s.Points[i].Broken }
	solid, dashed, alone := make([]opts.LineData, n), make([]opts.LineData, n), make([]opts.LineData, n)
	end, anyBroken, anyAlone := -1, false, false
	for i, p := range s.Points {
		solid[i].Value, dashed[i].Value, alone[i].Value = "-", "-", "-"
		if !has(i) {
			continue
		}
		end = i
		if !p.Broken {
			solid[i].Value = p.Value
		}
		if p.Broken || broken(i-1) || broken(i+1) {
			dashed[i].Value, anyBroken = p.Value, true
		}
	}
	for i := range end {
		if has(i) && !has(i-1) && !has(i+1) { // a line of one point would not be seen
			alone[i].Value, anyAlone = s.Points[i].Value, true
		}
	}
	add := func(name string, data []opts.LineData, line opts.LineChart, dash string, labelled bool) {
		line.ShowSymbol = opts.Bool(true)
		if s.Step {
			line.Step = "middle"
		}
		style := []charts.SeriesOpts{
			charts.WithLineChartOpts(line),
			charts.WithLineStyleOpts(opts.LineStyle{Color: ink, Width: 2, Type: dash}),
			charts.WithItemStyleOpts(opts.ItemStyle{Color: ink}),
		}
		if labelled && end >= 0 { // only a point with a symbol carries a label
			data[end].Symbol, data[end].SymbolSize = "circle", 6
			style = append(style, charts.WithLabelOpts(opts.Label{Show: opts.Bool(true), Position: "right", Formatter: "{a}", Color: ink,
				FontSize: 12, FontWeight: "bold", LineHeight: 15, VerticalAlign: align}))
			name += "\n" + s.Last
		}
		c.AddSeries(name, data, style...)
	}
	none := opts.LineChart{Symbol: "none"}
	if anyBroken {
		add(s.Name, dashed, none, "dashed", broken(end))
	}
	add(s.Name, solid, none, "solid", !broken(end))
	if anyAlone {
		add(s.Name, alone, opts.LineChart{Symbol: "circle", SymbolSize: 5}, "solid", false)
	}
}

// BandScript teaches the chart library what addBand asks for: it runs after the
// library and before an Option is drawn, here and in a page.
//
//go:embed band.js
var BandScript []byte

// addBand adds a series' range as a series of our own kind: of the library's it would
// take two, stacked, and twice the time.
func addBand(c *charts.Line, s Series) {
	rows := make([][3]any, len(s.Points))
	for i, p := range s.Points {
		rows[i] = [3]any{i, "-", "-"}
		if _, lo, hi := p.numbers(); lo <= hi {
			rows[i][1], rows[i][2] = p.Lo, p.Hi
		}
	}
	band := charts.NewCustom()
	band.AddSeries(s.Name, nil, charts.WithCustomChartOpts(opts.CustomChart{RenderItem: "band"}),
		charts.WithItemStyleOpts(opts.ItemStyle{Color: Tint, BorderColor: Edge}))
	band.MultiSeries[0].Data = rows
	c.Overlap(band)
}

// addGaps says, in the middle of each run of months without a value, what is
// missing there: on the axis for a line, at the top for a step.
func (l Lines) addGaps(c *charts.Line, from, to float64) {
	for _, s := range l.Series {
		at, side := from, "top"
		if s.Step {
			at, side = to, "bottom"
		}
		words, any := make([]opts.LineData, len(s.Points)), false
		for i := range words {
			words[i].Value = "-"
		}
		for i := 0; i < len(s.Points); i++ {
			first := i
			for i < len(s.Points) && s.Points[i].Value == "" {
				i++
			}
			if i > first {
				words[(first+i-1)/2].Value, any = at, true
			}
		}
		if any && s.Gap != "" {
			c.AddSeries(s.Gap, words,
				charts.WithLineChartOpts(opts.LineChart{Symbol: "circle", SymbolSize: 1, ShowSymbol: opts.Bool(true)}),
				charts.WithLineStyleOpts(opts.LineStyle{Opacity: opts.Float(0)}),
				charts.WithItemStyleOpts(opts.ItemStyle{Color: Rule}),
				charts.WithLabelOpts(opts.Label{Show: opts.Bool(true), Position: side, Formatter: "{a}", Color: Muted, FontSize: 12, FontStyle: "italic"}))
		}
	}
}
