package dashboards

import (
	"fmt"
	"regexp"
	"strings"
	"testing"

	"farthing/pipeline/result"
)

// TestFiguresStandAlone: a figure's file says by itself what it shows, from
// when, from how many prices and which sources, and what to beware of.
func TestFiguresStandAlone(t *testing.T) {
	e := typical().edition()
	e.Caution = "Prices of one winter: no year has been seen."
	for _, name := range []string{"a statistics office", "notes", "an office <b>&</b> co", "d", "e", "f", "g"} {
		e.Sources = append(e.Sources, result.Source{SHA256: name, Name: name + ".csv", Source: name, Producer: "P of " + name, Licence: "CC BY 4.0"})
	}
	texts := regexp.MustCompile(`<text x="[^"]*" y="([^"]*)"[^>]*>([^<]*)</text>`)
	height := regexp.MustCompile(`^<svg [^>]*height="([0-9.]+)"`)
	n := 0
	for name, b := range files(t, write(t, e, chartLibrary())) {
		if !strings.HasSuffix(name, ".svg") {
			continue
		}
		n++
		svg := string(b)
		var said []string
		for _, m := range texts.FindAllStringSubmatch(svg, -1) {
			said = append(said, m[2])
		}
		text := strings.Join(said, " ")
		for _, want := range []string{"Edition " + e.Hash + ", as of " + en.dateText(e.AsOf), fmt.Sprintf("Of %s accepted, %d stand behind", en.Count(e.Accepted, "one price", "%s prices"), e.Counted),
			"a statistics office (P of a statistics office, one file, CC BY 4.0)", "more.", "it is not a diet", e.Caution} {
			if !strings.Contains(text, want) {
				t.Errorf("%s: no %q in %q", name, want, text)
			}
		}
		m := height.FindStringSubmatch(svg)
		if m == nil {
			t.Fatalf("%s: no height", name)
		}
		var h, y float64
		fmt.Sscan(m[1], &h)
		for _, m := range texts.FindAllStringSubmatch(svg, -1) {
			fmt.Sscan(m[1], &y)
			if y > h-20 {
				t.Errorf("%s: %q stands at %v of %v", name, m[2], y, h)
			}
		}
	}
	if n < 10 {
		t.Errorf("got %d figures", n)
	}
}

// TestPictures: each drawing has its picture beside it, a page leads to both,
// and no drawing has an element or an attribute that pictures do not know.
func TestPictures(t *testing.T) {
	dir := t.TempDir()
	s := typical()
	s.months, s.ranged = 13, true
	if err := Write(dir, s.edition(), english, chartLibrary(), "", true); err != nil {
		t.Fatal(err)
	}
	known := regexp.MustCompile(`^(svg|rect|circle|path|text|g|title|defs|clipPath|(svg|rect|circle|path|text|g|defs|clipPath) (xmlns|viewBox|width|height|role|aria-label|font-family|font-size|font-weight|font-style|fill|fill-opacity|stroke|stroke-width|stroke-opacity|stroke-dasharray|stroke-linecap|stroke-linejoin|paint-order|text-anchor|dominant-baseline|transform|x|y|cx|cy|r|d|id|clip-path|space))$`)
	drawings, pages := 0, ""
	all := files(t, dir)
	for name, b := range all {
		if strings.HasSuffix(name, ".html") {
			pages += string(b)
		}
	}
	for name, b := range all {
		if !strings.HasSuffix(name, ".svg") {
			continue
		}
		drawings++
		picture := strings.TrimSuffix(name, ".svg") + ".png"
		if len(all[picture]) == 0 || !strings.Contains(pages, `<a href="`+picture+`">PNG</a>`) {
			t.Errorf("%s: got no picture beside it that a page leads to, want one", name)
		}
		for mark := range marks(parse(t, b)) {
			if !known.MatchString(mark) {
				t.Errorf("%s: got <%s>, which a picture does not show", name, mark)
			}
		}
	}
	if drawings < 20 {
		t.Errorf("got %d drawings, want some", drawings)
	}
}
