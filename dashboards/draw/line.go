package draw

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"regexp"
	"strconv"
	"strings"

	"github.com/dop251/goja"
	"github.com/go-echarts/go-echarts/v2/charts"
	"github.com/go-echarts/go-echarts/v2/opts"
)

// Point is a month's value as it is published, "" where there is none.
type Point struct {
	Value  json.Number
	Broken bool // the line to and from it is broken: much of it is imputed
}

// Series is one line over the months.
type Series struct {
	Name   string // printed at the line's end with the last value
	Last   string // that value as printed
	Points []Point
	Step   bool // changes at once between two months: never interpolated
}

// Lines is a figure of lines over the same months, in one unit.
type Lines struct {
	Months []string // axis labels, "" for a month without one
	Series []Series
}

// span is the smallest and largest value; ok is false where there is none.
func (l Lines) span() (lo, hi float64, ok bool) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, s := range l.Series {
		for _, p := range s.Points {
			if v, err := p.Value.Float64(); err == nil {
				lo, hi = min(lo, v), max(hi, v)
			}
		}
	}
	return lo, hi, lo <= hi
}

// Any says whether there is a value to draw.
func (l Lines) Any() bool {
	_, _, ok := l.span()
	return ok
}

// Scale is where the value axis starts and ends, and the step between its
// marks: 1, 2 or 5 times a power of ten, four to eight of them.
func (l Lines) Scale() (from, to, step float64) {
	lo, hi, ok := l.span()
	if !ok {
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
		return width, 250
	}
	return width, 290
}

// Option is the chart library's option at a width, as JSON that may stand in
// a script element: <, > and & are escaped. mark is lines of small type at
// the drawing's foot.
func (l Lines) Option(width float64, mark []string) (json.RawMessage, error) {
	const top = 14.0
	bottom := 44 + 15*float64(len(mark))
	_, height := l.Size(width)
	from, to, step := l.Scale()
	c := charts.NewLine()
	c.SetGlobalOptions(
		charts.WithAnimation(false),
		charts.WithLegendOpts(opts.Legend{Show: opts.Bool(false)}),
		charts.WithTooltipOpts(opts.Tooltip{Show: opts.Bool(false)}),
		charts.WithTitleOpts(opts.Title{Title: strings.Join(mark, "\n"), Left: "-5", Bottom: "0", // less its own padding
			TitleStyle: &opts.TextStyle{Color: Muted, FontSize: 12, FontWeight: "normal", LineHeight: 15}}),
		charts.WithGridOpts(opts.Grid{Left: "46", Right: "82", Top: px(top), Bottom: px(bottom)}),
		charts.WithXAxisOpts(opts.XAxis{
			Type: "category",
			// "0" is the one interval that works as the text this builder makes of it.
			AxisLabel:   &opts.AxisLabel{Interval: "0", Color: Muted, FontSize: 12},
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
			if v, err := s.Points[i].Value.Float64(); err == nil {
				return (to - v) / (to - from) * (height - top - bottom)
			}
		}
		return math.NaN()
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
	l.addGaps(c, from)
	c.Validate()
	return json.Marshal(c.JSON())
}

// addLine adds a series as up to three: the solid line, its broken parts, and
// the last point with its label.
func addLine(c *charts.Line, s Series, ink, align string) {
	n := len(s.Points)
	has := func(i int) bool { return i >= 0 && i < n && s.Points[i].Value != "" }
	broken := func(i int) bool { return has(i) && s.Points[i].Broken }
	solid, dashed, last := make([]opts.LineData, n), make([]opts.LineData, n), make([]opts.LineData, n)
	end, anyBroken := -1, false
	for i, p := range s.Points {
		solid[i], dashed[i], last[i] = opts.LineData{Value: "-"}, opts.LineData{Value: "-"}, opts.LineData{Value: "-"}
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
		if !has(i-1) && !has(i+1) { // a line of one point would not be seen
			solid[i] = opts.LineData{Value: p.Value, Symbol: "circle", SymbolSize: 5}
		}
	}
	shape := func(dash string) []charts.SeriesOpts {
		line := opts.LineChart{Symbol: "none", ShowSymbol: opts.Bool(true)}
		if s.Step {
			line.Step = "middle"
		}
		return []charts.SeriesOpts{
			charts.WithLineChartOpts(line),
			charts.WithLineStyleOpts(opts.LineStyle{Color: ink, Width: 2, Type: dash}),
			charts.WithItemStyleOpts(opts.ItemStyle{Color: ink}),
		}
	}
	c.AddSeries(s.Name, solid, shape("solid")...)
	if anyBroken {
		c.AddSeries(s.Name+", imputed", dashed, shape("dashed")...)
	}
	if end < 0 {
		return
	}
	last[end].Value = s.Points[end].Value
	c.AddSeries(s.Name+"\n"+s.Last, last,
		charts.WithLineChartOpts(opts.LineChart{Symbol: "circle", SymbolSize: 6, ShowSymbol: opts.Bool(true)}),
		charts.WithItemStyleOpts(opts.ItemStyle{Color: ink}),
		charts.WithLabelOpts(opts.Label{Show: opts.Bool(true), Position: "right", Formatter: "{a}", Color: ink,
			FontSize: 12, FontWeight: "bold", LineHeight: 15, VerticalAlign: align}),
	)
}

// addGaps writes "gap" on the axis under the middle of each run of months that
// have no value on a line that is not a step.
func (l Lines) addGaps(c *charts.Line, from float64) {
	for _, s := range l.Series {
		if s.Step {
			continue
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
				words[(first+i-1)/2].Value, any = from, true
			}
		}
		if any {
			c.AddSeries("gap", words,
				charts.WithLineChartOpts(opts.LineChart{Symbol: "circle", SymbolSize: 1, ShowSymbol: opts.Bool(true)}),
				charts.WithLineStyleOpts(opts.LineStyle{Opacity: opts.Float(0)}),
				charts.WithItemStyleOpts(opts.ItemStyle{Color: Rule}),
				charts.WithLabelOpts(opts.Label{Show: opts.Bool(true), Position: "top", Formatter: "{a}", Color: Muted, FontSize: 12, FontStyle: "italic"}))
		}
	}
}

// Engine draws line figures with the chart library, without a browser.
type Engine struct {
	vm   *goja.Runtime
	draw goja.Callable
}

// NewEngine reads the chart library's file.
func NewEngine(library string) (*Engine, error) {
	src, err := os.ReadFile(library)
	if err != nil {
		return nil, fmt.Errorf("chart library: %w", err)
	}
	vm := goja.New()
	// The library asks for a later frame, which a drawing made at once never needs.
	if err := vm.Set("setTimeout", func() {}); err != nil {
		return nil, err
	}
	if _, err := vm.RunScript("library", string(src)); err != nil {
		return nil, fmt.Errorf("chart library %s: %w", library, err)
	}
	v, err := vm.RunString(`(function (option, width, height) {
		var c = echarts.init(null, null, {renderer: "svg", ssr: true, width: width, height: height});
		c.setOption(JSON.parse(option));
		var svg = c.renderToSVGString();
		c.dispose();
		return svg;
	})`)
	if err != nil {
		return nil, fmt.Errorf("chart library %s: %w", library, err)
	}
	draw, _ := goja.AssertFunction(v)
	return &Engine{vm, draw}, nil
}

// Draw draws the figure at a width. The id must be the figure's own in its page.
func (e *Engine) Draw(l Lines, width float64, id string, mark []string) (Drawing, error) {
	option, err := l.Option(width, mark)
	if err != nil {
		return Drawing{}, err
	}
	w, h := l.Size(width)
	v, err := e.draw(goja.Undefined(), e.vm.ToValue(string(option)), e.vm.ToValue(w), e.vm.ToValue(h))
	if err != nil {
		return Drawing{}, fmt.Errorf("chart library: %w", err)
	}
	return Drawing{w, h, plain(v.String(), id)}, nil
}

var (
	outer  = regexp.MustCompile(`(?s)^\s*<svg[^>]*>(.*)</svg>\s*$`)
	styles = regexp.MustCompile(` style="([^"]*)"`)
	ids    = regexp.MustCompile(`\bzr\d+-`)
	unseen = regexp.MustCompile(`(?s)<style[^>]*>.*?</style>` + // rules for the mouse
		`|<(?:rect|path)[^>]* fill="none"(?: pointer-events="\w+")?(?: class="[^"]*")?></(?:rect|path)>` + // neither filled nor drawn
		`|<path[^>]*stroke-width="0"[^>]*></path>` +
		`| (?:class|pointer-events|ecmeta_\w+)="[^"]*"|\n`)
)

// plain keeps what is inside the library's svg element and makes it fit a
// page under a strict policy: no style element, no style attribute (they
// become presentation attributes), and ids of the figure's own.
func plain(svg, id string) string {
	s := outer.ReplaceAllString(svg, "$1")
	s = styles.ReplaceAllStringFunc(s, func(m string) string {
		var b strings.Builder
		for _, d := range strings.Split(styles.FindStringSubmatch(m)[1], ";") {
			name, value, ok := strings.Cut(d, ":")
			if ok && name != "font-family" { // the page's own
				fmt.Fprintf(&b, ` %s="%s"`, strings.TrimSpace(name), strings.TrimSpace(value))
			}
		}
		return b.String()
	})
	return ids.ReplaceAllString(unseen.ReplaceAllString(s, ""), id+"-")
}
