package dashboards

import (
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"farthing/pipeline/result"
)

// large is an edition of many regions, items and months, one household a region.
func large(regions, n, months int) *result.Edition {
	few := items
	defer func() { items = few }()
	items = nil
	for i := range n {
		items = append(items, few[i%len(few)])
		items[i].id, items[i].name, items[i].share = fmt.Sprintf("item_%02d", i), fmt.Sprintf("item number %d, of a kind", i), 1/float64(n)
	}
	s := typical()
	s.months, s.regions, s.ranged = months, manyRegions(regions), true
	e := s.edition()
	var one []result.Combination
	for _, c := range e.Publish {
		if c.Household == "single" {
			one = append(one, c)
		}
	}
	e.Publish = one
	return e
}

// BenchmarkSite writes the site of 200 regions, 80 items and 120 months, says how
// large its pages are, and how long it takes again while no line changes.
func BenchmarkSite(b *testing.B) {
	e := large(200, 80, 120)
	for b.Loop() {
		dir, kept := b.TempDir(), b.TempDir()
		if err := Write(dir, e, english, chartLibrary(), kept, true); err != nil {
			b.Fatal(err)
		}
		b.StopTimer()
		start := time.Now()
		if err := Write(b.TempDir(), e, english, chartLibrary(), kept, true); err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(time.Since(start).Seconds(), "again-s")
		pages, largest, front := pageSizes(b, dir)
		b.ReportMetric(float64(pages), "pages")
		b.ReportMetric(float64(largest)/1024, "largest-kB")
		b.ReportMetric(float64(front)/1024, "front-kB")
		b.StartTimer()
	}
}

// pageSizes counts a site's pages and gives the bytes of the largest, and of
// the front page with its style sheet and script.
func pageSizes(t testing.TB, dir string) (pages, largest, front int) {
	t.Helper()
	for name, b := range files(t, dir) {
		switch {
		case filepath.Ext(name) == ".html":
			pages++
			largest = max(largest, len(b))
			if name == frontPage {
				front += len(b)
			}
		case name == "style.css" || name == "farthing.js":
			front += len(b)
		}
	}
	return pages, largest, front
}

// TestManyRegions holds every page of 200 regions and ten years to a megabyte.
func TestManyRegions(t *testing.T) {
	e := large(200, 6, 120)
	e.Publish = e.Publish[:2]
	dir := write(t, e, "")
	if _, largest, _ := pageSizes(t, dir); largest > 1<<20 {
		t.Errorf("got a page of %d bytes, want up to a megabyte", largest)
	}
	if !strings.Contains(string(files(t, dir)["regions-plain.html"]), "the ranges across the shops seen are not drawn") {
		t.Error("got no word that ranges are left to the file, want one")
	}
}
