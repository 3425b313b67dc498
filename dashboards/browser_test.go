package dashboards

import (
	"context"
	"crypto/sha256"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"

	"farthing/dashboards/catalogue"
)

// tab is a browser's page that notes what it complains of and asks for.
type tab struct {
	ctx context.Context

	mu     sync.Mutex
	faults []string
}

// browse starts a browser; where none is installed the test says so and is skipped.
func browse(t *testing.T) *tab {
	t.Helper()
	path := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome", "chrome"} {
		if p, err := exec.LookPath(name); err == nil {
			path = p
			break
		}
	}
	if path == "" {
		t.Skip("no browser: install chromium to test the pages in it")
	}
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path))
	if os.Geteuid() == 0 {
		opts = append(opts, chromedp.NoSandbox) // the browser refuses its sandbox to root
	}
	ctx, stop := chromedp.NewExecAllocator(context.Background(), opts...)
	t.Cleanup(stop)
	ctx, stop = chromedp.NewContext(ctx)
	t.Cleanup(stop)
	ctx, stop = context.WithTimeout(ctx, 2*time.Minute)
	t.Cleanup(stop)
	b := &tab{ctx: ctx}
	err := chromedp.Listen(ctx, func(ev any) {
		b.mu.Lock()
		defer b.mu.Unlock()
		switch e := ev.(type) {
		case *log.EventEntryAdded:
			b.faults = append(b.faults, fmt.Sprintf("log %s: %s", e.Entry.Level, e.Entry.Text))
		case *runtime.EventExceptionThrown:
			b.faults = append(b.faults, "exception: "+e.ExceptionDetails.Text)
		case *runtime.EventConsoleAPICalled:
			b.faults = append(b.faults, fmt.Sprintf("console %s", e.Type))
		case *network.EventRequestWillBeSent:
			if u := e.Request.URL; !strings.HasPrefix(u, "file://") && !strings.HasPrefix(u, "data:") {
				b.faults = append(b.faults, "request for "+u)
			}
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// open shows a page at a width and waits until its figures are drawn.
func (b *tab) open(t *testing.T, file string, width int64, script bool) {
	t.Helper()
	if _, err := chromedp.Call(b.ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: !script}); err != nil {
		t.Fatal(err)
	}
	steps := []chromedp.Action[chromedp.Void]{chromedp.EmulateViewport(width, 900), chromedp.Navigate("file://" + filepath.ToSlash(file))}
	if script {
		steps = append(steps, chromedp.WaitReady(chromedp.CSS("html[data-ready]")))
	}
	if err := chromedp.Do(b.ctx, steps...); err != nil {
		t.Fatalf("%s at %d px: %v", filepath.Base(file), width, err)
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, f := range b.faults {
		t.Errorf("%s at %d px: got %s, want silence and no network", filepath.Base(file), width, f)
	}
	b.faults = nil
}

func eval[T any](t *testing.T, b *tab, js string) T {
	t.Helper()
	v, err := chromedp.Run(b.ctx, chromedp.Evaluate[T](js))
	if err != nil {
		t.Fatalf("%s: %v", js, err)
	}
	return v
}

// TestBrowser opens pages from their files, at the widths of a desk and of phones.
func TestBrowser(t *testing.T) {
	b := browse(t)
	for _, name := range []string{"hostile", "long names", "ranged", "40 regions", "unpriced", "bare"} {
		e := editions()[name]
		e.Publish = e.Publish[max(0, len(e.Publish)-1):]
		dir := write(t, e, chartLibrary())
		pages, err := filepath.Glob(filepath.Join(dir, "*.html"))
		if err != nil {
			t.Fatal(err)
		}
		items := 0
		for _, page := range pages {
			if strings.HasPrefix(filepath.Base(page), "item-") {
				if items++; items > 1 {
					continue // all are made alike
				}
			}
			widths := []int64{1280, 360, 320}
			if name == "ranged" {
				widths = append(widths, 784) // the first at which the wide figures stand
			}
			for _, width := range widths {
				b.open(t, page, width, true)
				if got := eval[int64](t, b, "document.documentElement.scrollWidth"); got > width {
					t.Errorf("%s %s: got a page %d px wide, want it to fit %d", name, filepath.Base(page), got, width)
				}
				if width < 360 {
					continue
				}
				// Type is never scaled down: a drawing is as wide as it was drawn, or wider.
				small := eval[[]string](t, b, `[...document.querySelectorAll(".plot > svg")].filter(s => s.clientWidth && s.clientWidth < s.viewBox.baseVal.width - 1).map(s => s.clientWidth + "")`)
				if len(small) > 0 {
					t.Errorf("%s %s at %d px: got drawings %v px wide, want none smaller than drawn", name, filepath.Base(page), width, small)
				}
			}
		}
	}
}

// TestWithoutScript expects the drawings and tables to be there all the same.
func TestWithoutScript(t *testing.T) {
	b := browse(t)
	e := typical().edition()
	e.Publish = e.Publish[:1]
	dir := write(t, e, chartLibrary())
	want := 1.0 // the strip
	if chartLibrary() != "" {
		want = 2
	}
	for _, width := range []int64{1280, 360} {
		b.open(t, filepath.Join(dir, "index.html"), width, false)
		// The test's own questions need no script of the page's.
		seen := eval[float64](t, b, `[...document.querySelectorAll(".plot > svg")].filter(s => s.clientWidth).length`)
		if seen != want {
			t.Errorf("at %d px: got %v drawings, want %v", width, seen, want)
		}
	}
}

// TestHover points at a line figure and reads the month's row below it, also
// where a row of the table stands for a run of months.
func TestHover(t *testing.T) {
	if chartLibrary() == "" {
		t.Skip("no chart library: name its folder in FARTHING_ASSETS")
	}
	b := browse(t)
	dir := write(t, typical().edition(), chartLibrary())
	for _, c := range []struct {
		page  string
		width int64
		month float64 // of 24
		want  string
		right string // of that month
	}{
		{"index.html", 1280, 0, "Jan 2023: Allowance 156.0000; Basket 155.1801", "Feb 2023"}, // 4.2486 x (1 + 0.01 sin 0) x 1.2 x 30.4375
		{"index.html", 360, 0, "Jan 2023: Allowance 156.0000; Basket 155.1801", "Feb 2023"},
		{"basket-oddel_-skerries-single-plain.html", 1280, 1, "Jan 2023 to Mar 2023: an item was not sold", "Jan 2023 to Mar 2023"},
		{"basket-oddel_-skerries-single-plain.html", 1280, 4, "May 2023: Cost a day 5.7265", "Jun 2023"}, // x (1 + 0.0065 x 4 + 0.01 sin 6 + 0.10) x 1.2
	} {
		b.open(t, filepath.Join(dir, c.page), c.width, true)
		at := eval[map[string]float64](t, b, fmt.Sprintf(`(() => {
			const p = [...document.querySelectorAll(".plot.awake")].find(p => p.clientWidth);
			p.scrollIntoView();
			const r = p.querySelector(".live").getBoundingClientRect();
			return {x: r.left + 46 + (r.width - 128) * %v / 24, y: r.top + 60};
		})()`, c.month+0.5))
		if err := chromedp.Do(b.ctx, chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, at["x"]+2, at["y"]), chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, at["x"], at["y"])); err != nil {
			t.Fatal(err)
		}
		got, err := chromedp.Run(b.ctx, chromedp.Poll[string](`[...document.querySelectorAll(".read")].map(p => p.textContent).join("")`))
		if err != nil {
			t.Fatal(err)
		}
		if !strings.HasPrefix(got, c.want) {
			t.Errorf("%s at %d px: got %q, want %q", c.page, c.width, got, c.want)
		}
		// The keys go on from there, and to either end.
		for _, k := range []struct{ key, want string }{{"ArrowRight", c.right}, {"Home", "Jan 2023"}, {"End", "Dec 2024"}} {
			got := eval[string](t, b, fmt.Sprintf(`(() => {
				const p = [...document.querySelectorAll(".plot.awake")].find(p => p.clientWidth), live = p.querySelector(".live");
				live.focus();
				live.dispatchEvent(new KeyboardEvent("keydown", {key: %q, bubbles: true, cancelable: true}));
				const said = p.querySelector(".read").textContent;
				return document.activeElement !== live || live.getAttribute("aria-valuetext") !== said ? "not said" : said;
			})()`, k.key))
			if !strings.HasPrefix(got, k.want) {
				t.Errorf("%s at %d px, %s: got %q, want %q", c.page, c.width, k.key, got, k.want)
			}
		}
	}
}

// TestDrawnOnce: what the chart library drew for one site is not drawn again for the
// next, which has the same bytes.
func TestDrawnOnce(t *testing.T) {
	if chartLibrary() == "" {
		t.Skip("no chart library: name its folder in FARTHING_ASSETS")
	}
	e, kept := typical().edition(), filepath.Join(t.TempDir(), ".drawings")
	site := func() map[string][]byte {
		dir := t.TempDir()
		if err := Write(dir, e, english, chartLibrary(), kept, false); err != nil {
			t.Fatal(err)
		}
		return files(t, dir)
	}
	first := site()
	if second := site(); !reflect.DeepEqual(first, second) {
		t.Error("got other bytes from drawings that were kept, want the same")
	}
	drawings, err := os.ReadDir(kept)
	if err != nil || len(drawings) == 0 {
		t.Fatalf("got %d drawings kept and %v, want some", len(drawings), err)
	}
	for _, d := range drawings { // a mark that tells a kept drawing from one made anew
		b, err := os.ReadFile(filepath.Join(kept, d.Name()))
		if err != nil {
			t.Fatal(err)
		}
		_, svg, _ := strings.Cut(string(b), "\n")
		svg = strings.ReplaceAll(svg, ">basket<", ">kept<")
		inner := sha256.Sum256([]byte(svg))
		if err := os.WriteFile(filepath.Join(kept, d.Name()), fmt.Appendf(nil, "%x\n%s", sha256.Sum256(inner[:]), svg), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if third := string(site()["index.html"]); !strings.Contains(third, ">kept<") || strings.Contains(third, ">basket<") {
		t.Error("got a figure drawn anew, want the one that was kept")
	}
}

// TestGermanInBrowser: what the script says and the scales it draws follow the
// language; its longer words keep every page within a phone and each sheet on one leaf of paper.
func TestGermanInBrowser(t *testing.T) {
	b := browse(t)
	german, err := catalogue.New("de", catalogue.Forms{})
	if err != nil {
		t.Fatal(err)
	}
	s := typical()
	s.ranged, s.paidOn = true, 15
	e := s.edition()
	e.Publish = e.Publish[len(e.Publish)-2:]
	dir := filepath.Join(t.TempDir(), "site")
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := Write(dir, e, german, chartLibrary(), "", false); err != nil {
		t.Fatal(err)
	}
	for _, page := range oneOfEach(t, dir) {
		b.open(t, page, 320, true)
		if got := eval[int](t, b, "document.documentElement.scrollWidth"); got > 320 {
			t.Errorf("%s: got a page %d px wide on a phone of 320", filepath.Base(page), got)
		}
	}
	sheets, err := filepath.Glob(filepath.Join(dir, "sheet-*.html"))
	if err != nil || len(sheets) == 0 {
		t.Fatalf("got no sheet and %v", err)
	}
	for _, sheet := range sheets {
		if n := len(leaves.FindAll(b.pdf(t, sheet), -1)); n != 1 {
			t.Errorf("%s: got %d leaves of paper, want 1", filepath.Base(sheet), n)
		}
	}
	basket, err := filepath.Glob(filepath.Join(dir, "basket-*.html"))
	if err != nil || len(basket) == 0 {
		t.Fatalf("got no basket page and %v", err)
	}
	b.open(t, basket[0], 1280, true)
	for js, want := range map[string]string{
		"document.documentElement.lang":                                 "de",
		"document.querySelector('.filter label').textContent":           "Zeilen mit den W\u00f6rtern",
		"document.querySelector('.filter select').textContent":          "Dez 2024",
		"document.querySelector('.filter select').options[0].text":      "alle",
		"document.querySelector('#nominal-table tbody tr').textContent": ",",
	} {
		if got := eval[string](t, b, js); !strings.Contains(got, want) {
			t.Errorf("%s: got %q, want %q in it", js, got, want)
		}
	}
	if chartLibrary() == "" {
		return
	}
	scale := eval[string](t, b, "Array.prototype.map.call(document.querySelectorAll('.live text'), function (t) { return t.textContent; }).join(' ')")
	if !strings.Contains(scale, ",") || regexp.MustCompile(`\d\.\d`).MatchString(scale) {
		t.Errorf("got a scale of %q, want decimal commas", scale)
	}
}
