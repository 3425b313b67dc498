package draw

import (
	"cmp"
	"fmt"
	"maps"
	"os"
	"regexp"
	"runtime/debug"
	"slices"
	"strings"
	"sync"

	"github.com/dop251/goja"
)

// Engine draws line figures with the chart library, without a browser. Many
// may draw at once; a figure that was drawn is not drawn again, nor by the next
// run where drawings are kept.
type Engine struct {
	idle  chan machine
	mu    sync.Mutex
	drawn map[string]func() (string, error)
	kept  cache
}

// machine is a script engine with the library in it, at work for one figure at a time.
type machine struct {
	vm   *goja.Runtime
	draw goja.Callable
}

// machines draw at once: more would cost memory, and gain nothing on few processors.
const machines = 2

// NewEngine reads the chart library's file. Drawings are kept in the folder kept,
// which is made if it can be; "" keeps none.
func NewEngine(library, kept string) (*Engine, error) {
	src, err := os.ReadFile(library)
	if err != nil {
		return nil, fmt.Errorf("chart library: %w", err)
	}
	program, err := goja.Compile("library", string(src), false)
	if err != nil {
		return nil, fmt.Errorf("chart library %s: %w", library, err)
	}
	e := &Engine{idle: make(chan machine, machines), drawn: map[string]func() (string, error){}, kept: newCache(kept, string(src), string(BandScript), drawScript, gojaVersion())}
	errs := make(chan error, machines)
	for range machines {
		go func() {
			m, err := newMachine(program)
			e.idle <- m
			errs <- err
		}()
	}
	for range machines {
		if err := <-errs; err != nil {
			return nil, fmt.Errorf("chart library %s: %w", library, err)
		}
	}
	return e, nil
}

// gojaVersion is that of the script engine: another may round otherwise.
func gojaVersion() string {
	info, _ := debug.ReadBuildInfo()
	for i := 0; info != nil && i < len(info.Deps); i++ {
		if d := info.Deps[i]; strings.HasSuffix(d.Path, "/goja") {
			return d.Version + d.Sum
		}
	}
	return ""
}

// Sweep throws away kept drawings that were not asked for since the engine was made.
func (e *Engine) Sweep() { e.kept.sweep(slices.Collect(maps.Keys(e.drawn))) }

// drawScript draws an option as SVG.
const drawScript = `(function (option, width, height, decimal, thousands) {
	var c = echarts.init(null, null, {renderer: "svg", ssr: true, width: width, height: height});
	option = JSON.parse(option);
	if (decimal !== "." || thousands !== "") option.yAxis[0].axisLabel.formatter = function (value) {
		var parts = String(value).split(".");
		parts[0] = parts[0].replace(/\B(?=(\d{3})+$)/g, thousands);
		return parts.join(decimal);
	};
	c.setOption(option);
	var svg = c.renderToSVGString();
	c.dispose();
	return svg;
})`

func newMachine(library *goja.Program) (machine, error) {
	vm := goja.New()
	// The library asks for a later frame, which a drawing made at once never needs.
	if err := vm.Set("setTimeout", func() {}); err != nil {
		return machine{}, err
	}
	if _, err := vm.RunProgram(library); err != nil {
		return machine{}, err
	}
	if _, err := vm.RunString(string(BandScript)); err != nil {
		return machine{}, err
	}
	v, err := vm.RunString(drawScript)
	if err != nil {
		return machine{}, err
	}
	draw, _ := goja.AssertFunction(v)
	return machine{vm, draw}, nil
}

// Draw draws the figure at a width. The id must be the figure's own in its page. The
// lines of small type at its foot are added to what the library drew, which so stays
// the same from edition to edition while the figure does.
func (e *Engine) Draw(l Lines, width float64, id string, mark []string) (Drawing, error) {
	option, err := l.Option(width, nil)
	if err != nil {
		return Drawing{}, err
	}
	w, h := l.Size(width)
	e.mu.Lock()
	key := strings.Join([]string{px(w), px(h), l.Words.Decimal, l.Words.Thousands, string(option)}, "\n")
	draw, ok := e.drawn[key]
	if !ok {
		draw = sync.OnceValues(func() (string, error) {
			return e.kept.get(key, func() (string, error) { return e.svg(string(option), w, h, l.Words) })
		})
		e.drawn[key] = draw
	}
	e.mu.Unlock()
	svg, err := draw()
	return Drawing{w, h, plain(svg, id)}.marked(mark), err
}

func (e *Engine) svg(option string, w, h float64, words Words) (string, error) {
	m := <-e.idle
	defer func() { e.idle <- m }()
	v, err := m.draw(goja.Undefined(), m.vm.ToValue(option), m.vm.ToValue(w), m.vm.ToValue(h), m.vm.ToValue(cmp.Or(words.Decimal, ".")), m.vm.ToValue(words.Thousands))
	if err != nil {
		return "", fmt.Errorf("chart library: %w", err)
	}
	return v.String(), nil
}

var (
	outer  = regexp.MustCompile(`(?s)^\s*<svg[^>]*>(.*)</svg>\s*$`)
	styles = regexp.MustCompile(` style="([^"]*)"`)
	shapes = strings.NewReplacer(`<polygon points="`, `<path d="M`, `</polygon>`, `</path>`, `<polyline points="`, `<path d="M`, `</polyline>`, `</path>`)
	ids    = regexp.MustCompile(`\bzr\d+-`)
	unseen = regexp.MustCompile(`(?s)<style[^>]*>.*?</style>` + // rules for the mouse
		`|<(?:rect|path)[^>]* fill="none"(?: pointer-events="\w+")?(?: class="[^"]*")?></(?:rect|path)>` + // neither filled nor drawn
		`|<path[^>]*stroke-width="0"[^>]*></path>` +
		`| (?:class|pointer-events|ecmeta_\w+)="[^"]*"|\n`)
)

// plain keeps what is inside the library's svg element and makes it fit a
// page under a strict policy and a picture: paths for shapes of many points, no style element, no style attribute (they
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
	return ids.ReplaceAllString(shapes.Replace(unseen.ReplaceAllString(s, "")), id+"-")
}
