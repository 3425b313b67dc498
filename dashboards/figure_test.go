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
		for _, want := range []string{"Edition " + e.Hash + ", as of " + dateText(e.AsOf), fmt.Sprintf("Of %s accepted, %d stand behind", count(e.Accepted, "price", "prices"), e.Counted),
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
