package dashboards

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"farthing/dashboards/layout"
)

// media sets what the browser tells a page of its reader's wishes, as name and value.
func (b *tab) media(t *testing.T, wishes ...string) {
	t.Helper()
	var p emulation.SetEmulatedMediaParams
	for i := 0; i < len(wishes); i += 2 {
		p.Features = append(p.Features, &emulation.MediaFeature{Name: wishes[i], Value: wishes[i+1]})
	}
	if _, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, p); err != nil {
		t.Fatal(err)
	}
}

// press types keys as a keyboard does.
func (b *tab) press(t *testing.T, keys string) {
	t.Helper()
	if err := chromedp.Do(b.ctx, chromedp.KeyEvent(keys)); err != nil {
		t.Fatal(err)
	}
}

// oneOfEach gives a page of each kind of a site.
func oneOfEach(t *testing.T, dir string) (pages []string) {
	t.Helper()
	for _, name := range []string{"reach-*", "regions-*", "basket-*", "moved-*", "meals", "meal-*", "diets-*", "items", "item-*", "grounds", "sheet-*"} {
		found, err := filepath.Glob(filepath.Join(dir, name+".html"))
		if err != nil || len(found) == 0 {
			t.Fatalf("got no page %s and %v, want one", name, err)
		}
		pages = append(pages, found[len(found)-1])
	}
	return pages
}

// TestAccessible runs a checker of the rules of WCAG over a page of each kind,
// all that folds opened: no finding is serious or critical.
func TestAccessible(t *testing.T) {
	checker, err := os.ReadFile(filepath.Join(os.Getenv("FARTHING_ASSETS"), "axe.min.js"))
	if err != nil {
		t.Skip("the accessibility checker did not run: it is not in the folder that FARTHING_ASSETS names; make test fetches it")
	}
	b := browse(t)
	s := typical()
	s.ranged = true
	e := s.edition()
	e.Publish = e.Publish[len(e.Publish)-2:]
	pages := oneOfEach(t, write(t, e, chartLibrary()))
	rules := 0
	check := func(page string, width int64) []string {
		b.open(t, page, width, true)
		eval[bool](t, b, `document.querySelectorAll("details").forEach(d => d.open = true), true`)
		eval[bool](t, b, string(checker)+`;true`)
		// What it asks of style sheets by requests is left out: a page from a file answers none.
		eval[bool](t, b, `window.found = null; axe.run(document, {preload: false}).then(r => window.found = JSON.stringify({
			passed: r.passes.length,
			bad: r.violations.filter(v => v.impact === "serious" || v.impact === "critical").map(v => v.id + ": " + v.help + ": " + v.nodes.slice(0, 3).map(n => n.html.slice(0, 120)).join(" | ")),
		}), e => window.found = JSON.stringify({bad: [e + ""]})); true`)
		text, err := chromedp.Run(b.ctx, chromedp.Poll[string](`window.found`))
		if err != nil {
			t.Fatal(err)
		}
		var found struct {
			Passed int
			Bad    []string
		}
		if err := json.Unmarshal([]byte(text), &found); err != nil {
			t.Fatal(err)
		}
		rules = max(rules, found.Passed)
		return found.Bad
	}
	for _, scheme := range []string{"light", "dark"} {
		b.media(t, "prefers-color-scheme", scheme)
		for _, page := range pages {
			for _, width := range []int64{1280, 360} {
				for _, bad := range check(page, width) {
					t.Errorf("%s, %s, %d px: got %s", filepath.Base(page), scheme, width, bad)
				}
			}
		}
	}
	if rules < 20 {
		t.Errorf("got %d rules that a page passed, want 20 or more", rules)
	}
	// The checker itself: it must find a drawing without words and a faint line of text.
	faulty := filepath.Join(t.TempDir(), "faulty.html")
	if err := os.WriteFile(faulty, []byte(`<!doctype html><html lang="en" data-ready><title>x</title><main><h1>x</h1><img src="data:,"><p style="color:#ccc;background:#fff">faint</p></main>`), 0o644); err != nil {
		t.Fatal(err)
	}
	bad := strings.Join(check(faulty, 1280), "\n")
	if !strings.Contains(bad, "image-alt") || !strings.Contains(bad, "color-contrast") {
		t.Errorf("got %q of a faulty page, want both its faults", bad)
	}
}

// TestLargeType doubles the type, and the whole page: nothing is wider than the
// window, as WCAG 2.2 asks in 1.4.4 and 1.4.10.
func TestLargeType(t *testing.T) {
	b := browse(t)
	for _, name := range []string{"ranged", "long names"} {
		e := editions()[name]
		e.Publish = e.Publish[len(e.Publish)-2:]
		for _, page := range oneOfEach(t, write(t, e, chartLibrary())) {
			b.open(t, page, 640, true) // 1280 px at 200 %
			if got := eval[int64](t, b, "document.documentElement.scrollWidth"); got > 640 {
				t.Errorf("%s %s at 200 %%: got a page %d px wide, want it to fit 640", name, filepath.Base(page), got)
			}
			b.open(t, page, 1280, true)
			// A style rule that the page's policy has no say in.
			if got := eval[int64](t, b, `document.documentElement.style.fontSize = "200%", document.documentElement.scrollWidth`); got > 1280 {
				t.Errorf("%s %s with type of 200 %%: got a page %d px wide, want it to fit 1280", name, filepath.Base(page), got)
			}
		}
	}
}

// TestForcedColours: the reader's own colours reach text and marks, and what is
// fed and what is not stay two forms.
func TestForcedColours(t *testing.T) {
	b := browse(t)
	dir := write(t, typical().edition(), chartLibrary())
	b.media(t, "forced-colors", "active", "prefers-color-scheme", "dark")
	b.open(t, filepath.Join(dir, "index.html"), 1280, true)
	got := eval[map[string]string](t, b, `(() => {
		const probe = document.createElement("p");
		document.body.append(probe);
		const system = name => { probe.style.color = name; return getComputedStyle(probe).color; };
		const mark = (attr, property) => getComputedStyle(document.querySelector(".plot.wide > svg path[" + attr + "]"))[property];
		return {ink: system("CanvasText"), paper: system("Canvas"), page: getComputedStyle(document.body).backgroundColor, text: getComputedStyle(document.querySelector("h1")).color,
			fed: mark('stroke="#23405c"', "stroke"), open: mark('stroke="#b0371a"', "stroke"), filled: mark('stroke="#b0371a"', "fill")};
	})()`)
	if got["page"] != got["paper"] || got["text"] != got["ink"] || got["fed"] != got["ink"] || got["open"] != got["ink"] || got["filled"] != "none" || got["ink"] == got["paper"] {
		t.Errorf("got %v, want the page in the reader's paper, and text and marks in the reader's ink, open days not filled", got)
	}
}

// TestStill: a reader who wants no motion gets none.
func TestStill(t *testing.T) {
	b := browse(t)
	dir := write(t, typical().edition(), chartLibrary())
	const ask = `getComputedStyle(document.querySelector("main a")).transitionDuration`
	for wish, want := range map[string]string{"reduce": "0s", "no-preference": "0.1s"} {
		b.media(t, "prefers-reduced-motion", wish)
		b.open(t, filepath.Join(dir, "index.html"), 1280, true)
		if got := eval[string](t, b, ask); got != want {
			t.Errorf("%s: got a transition of %s, want %s", wish, got, want)
		}
		if got := eval[int64](t, b, "document.getAnimations().length"); got != 0 {
			t.Errorf("%s: got %d animations of a page at rest, want none", wish, got)
		}
	}
}

// TestFilter filters a table from the keyboard, and opens the address that
// this made in a new page: the same rows are shown.
func TestFilter(t *testing.T) {
	b := browse(t)
	dir := write(t, typical().edition(), "")
	page := filepath.Join(dir, "regions-plain.html")
	const (
		rows   = `[...document.querySelectorAll("#levels-table tbody tr")].filter(r => r.offsetParent).map(r => r.cells[0].textContent + ", " + r.cells[1].textContent)`
		status = `document.querySelector("#levels [role=status]").textContent`
	)
	b.open(t, page, 1280, true)
	tabTo := func(what string) {
		t.Helper()
		for range 60 {
			if eval[bool](t, b, `document.activeElement.matches("`+what+`")`) {
				return
			}
			b.press(t, "\t")
		}
		t.Fatalf("got no way to %s by the tab key, want one", what)
	}
	tabTo("#levels summary")
	b.press(t, "\r")
	tabTo("#levels input")
	all := eval[[]string](t, b, rows)
	b.press(t, "oddel")
	if got := len(eval[[]string](t, b, rows)); got == 0 || got >= len(all) {
		t.Fatalf("got %d of %d rows of one region, want fewer", got, len(all))
	}
	tabTo("#levels select")
	b.press(t, "Feb 2023")
	want := []string{"Jan 2023 to Mar 2023, Oddel Skerries"} // a row of a run of months holds its months
	if got := eval[[]string](t, b, rows); !slices.Equal(got, want) {
		t.Errorf("got the rows %v, want %v", got, want)
	}
	if got, want := eval[string](t, b, status), fmt.Sprintf("1 of %d rows shown.", len(all)); got != want {
		t.Errorf("got the status %q, want %q", got, want)
	}
	hash := eval[string](t, b, "location.hash")
	if want := "#levels/2023-02/oddel"; hash != want {
		t.Fatalf("got the address %s, want %s", hash, want)
	}
	for _, c := range []struct {
		hash string
		want int
	}{
		{hash, 1}, {"#levels//mirrow%202024", 12}, {"#levels//nothing%20like%20it", 0},
		// What is not understood shows all.
		{"#levels/2099-01/", len(all)}, {"#levels/%", len(all)}, {"#%3Cscript%3E/x/y", len(all)}, {"#__proto__/2023-02/x", len(all)}, {"#levels", len(all)},
	} {
		b.open(t, filepath.Join(dir, "grounds.html"), 1280, true) // so that the page is loaded anew
		b.open(t, page+c.hash, 1280, true)
		eval[bool](t, b, `document.querySelector("#levels details").open = true`)
		if got := eval[[]string](t, b, rows); len(got) != c.want {
			t.Errorf("%s: got the rows %v, want %d", c.hash, got, c.want)
		}
	}
	// An address changed by hand, and taken back.
	eval[bool](t, b, `location.hash = "#levels//oddel", true`)
	if _, err := chromedp.Run(b.ctx, chromedp.Poll[bool](`document.querySelector("#levels [role=status]").textContent !== ""`)); err != nil {
		t.Errorf("got %v after the address changed, want fewer rows", err)
	}
}

// TestChooser: a long list of links has a field that shortens it.
func TestChooser(t *testing.T) {
	b := browse(t)
	e := editions()["40 regions"]
	b.open(t, filepath.Join(write(t, e, ""), "index.html"), 1280, true)
	got := eval[[]string](t, b, `(() => {
		document.querySelector(".choose details").open = true;
		const words = document.querySelector(".choose input");
		words.value = "number 3";
		words.dispatchEvent(new Event("input"));
		return [...words.closest(".filter").nextElementSibling.querySelectorAll("a")].filter(a => a.offsetParent).map(a => a.textContent);
	})()`)
	if len(got) != 11 || got[0] != "Region number 3" { // 3 and 30 to 39
		t.Errorf("got the links %v, want 11", got)
	}
}

// TestPairs holds every pair of ink and ground that the style sheet and the
// drawings use to WCAG 2.2: 4.5 for text (1.4.3), 3 for marks (1.4.11), in
// every palette.
func TestPairs(t *testing.T) {
	style := string(layout.Style)
	type pair struct {
		ink, ground string
		opacity     float64
		least       float64
		use         string
	}
	pairs := []pair{
		{"ink", "paper", 1, 4.5, "text"}, {"muted", "paper", 1, 4.5, "small type"}, {"short", "paper", 1, 4.5, "the word invented"}, {"fed", "paper", 1, 4.5, "labels of lines"},
		{"paper", "fed", 1, 4.5, "the number in an estimated rank"},
		{"ink", "hair", 1, 4.5, "text over the shade of a table that goes on"}, {"muted", "hair", 1, 4.5, "small type there"},
		{"fed", "paper", .65, 3, "a rank it may hold"}, {"rule", "paper", 1, 3, "links, fields, axes, ranks not held"},
		{"edge", "paper", 1, 3, "a band's edge"}, {"edge", "tint", 1, 3, "a band's edge"}, {"fed", "tint", 1, 3, "a line on its band"},
	}
	for _, m := range regexp.MustCompile(`background: ([^;}]*)`).FindAllStringSubmatch(style, -1) {
		grounds := regexp.MustCompile(`var\(--(\w+)\)`).FindAllStringSubmatch(m[1], -1)
		for _, g := range grounds {
			for _, ink := range []string{"ink", "muted"} {
				if !slices.ContainsFunc(pairs, func(p pair) bool { return p.ink == ink && p.ground == g[1] && p.least == 4.5 }) {
					t.Errorf("got the ground %q in the style sheet, want its pairs here", g[1])
				}
			}
		}
		if grounds == nil {
			t.Errorf("got a ground %q in the style sheet, want one of the palette", m[1])
		}
	}
	for _, m := range regexp.MustCompile(`[ {]color: ([^;}]*)`).FindAllStringSubmatch(style, -1) {
		name := strings.TrimSuffix(strings.TrimPrefix(m[1], "var(--"), ")")
		known := m[1] == "inherit" || slices.ContainsFunc(pairs, func(p pair) bool { return p.ink == name && p.ground == "paper" && p.least == 4.5 })
		if !known {
			t.Errorf("got type of the colour %q in the style sheet, want one of the pairs here", m[1])
		}
	}
	palettes := palettesOf(t)
	for name, p := range palettes {
		for _, pair := range pairs {
			if got := contrast(t, blend(t, p[pair.ink], p[pair.ground], pair.opacity), p[pair.ground]); got < pair.least {
				t.Errorf("%s: got %.2f for %s at %v on %s, want %.1f: %s", name, got, pair.ink, pair.opacity, pair.ground, pair.least, pair.use)
			}
		}
	}
}

// blend is a colour of some opacity on a ground.
func blend(t *testing.T, ink, ground string, opacity float64) string {
	t.Helper()
	a, b := rgb(t, ink), rgb(t, ground)
	s := "#"
	for i := range a {
		s += fmt.Sprintf("%02x", int(a[i]*opacity+b[i]*(1-opacity)+.5))
	}
	return s
}
