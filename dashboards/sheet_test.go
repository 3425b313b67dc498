package dashboards

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

// pdf prints a page as a browser does, in its style for paper.
func (b *tab) pdf(t *testing.T, file string) []byte {
	t.Helper()
	b.open(t, file, 1280, true)
	yes := true
	r, err := chromedp.Call(b.ctx, page.PrintToPDF, page.PrintToPDFParams{PreferCSSPageSize: &yes, PrintBackground: &yes})
	if err != nil {
		t.Fatal(err)
	}
	return r.Data
}

// leaves are the page objects of a PDF (ISO 32000-1, 7.7.3.3), which this
// browser writes outside compressed streams.
var leaves = regexp.MustCompile(`/Type\s*/Page\b`)

// a4 is a page's box: 210 by 297 mm (ISO 216) in points of 1/72 inch, to a point.
var a4 = regexp.MustCompile(`/MediaBox\s*\[0 0 59[45](\.\d+)? 84[12](\.\d+)?\]`)

// TestSheet prints each sheet of paper: it is one page of A4, and holds the
// finding, the figure, the table, the method, the cautions and the citation.
func TestSheet(t *testing.T) {
	b := browse(t)
	long := longest()
	long.Invented, long.Caution = false, strings.Repeat("What must be known before the figures are read. ", 8)
	for name, e := range map[string]func(*spec){"typical": func(*spec) {}, "ranged, paid on the 15th": func(s *spec) { s.ranged, s.paidOn = true, 15 },
		"weekly": nil, "gaps": func(s *spec) { s.price = without(s.price, 13, 15, 17, 19, 21, 23) }, "long": nil} {
		t.Run(name, func(t *testing.T) {
			s := typical()
			if e != nil {
				e(&s)
			}
			ed := s.edition()
			switch name {
			case "weekly":
				ed = weekly()
			case "long":
				ed = long
			}
			ed.Publish = ed.Publish[len(ed.Publish)-2:]
			dir := write(t, ed, "")
			sheets, err := filepath.Glob(filepath.Join(dir, "sheet-*.html"))
			if err != nil || len(sheets) != 2 {
				t.Fatalf("got %d sheets and %v, want 2", len(sheets), err)
			}
			for _, file := range sheets {
				pdf := b.pdf(t, file)
				if n := len(leaves.FindAll(pdf, -1)); n != 1 {
					t.Errorf("%s: got %d pages, want 1", filepath.Base(file), n)
				}
				if n := len(a4.FindAll(pdf, -1)); n != 1 {
					t.Errorf("%s: got %d boxes of A4, want 1", filepath.Base(file), n)
				}
				html, err := os.ReadFile(file)
				if err != nil {
					t.Fatal(err)
				}
				main := parse(t, html).one(t, "main")
				parts := ""
				for _, n := range main.all("section") {
					parts += n.attr["id"] + " "
				}
				if want := "days working cautions cite "; parts != want {
					t.Errorf("%s: got the parts %q, want %q", filepath.Base(file), parts, want)
				}
				if len(main.all("figure")) != 1 || len(main.all("table")) != 1 || !strings.Contains(main.text, "edition "+ed.Hash) {
					t.Errorf("%s: got %d figures and %d tables, want one of each, and the edition's hash", filepath.Base(file), len(main.all("figure")), len(main.all("table")))
				}
			}
		})
	}
	// The measure itself: a Reach page takes more than one leaf.
	e := typical().edition()
	e.Publish = e.Publish[:1]
	if n := len(leaves.FindAll(b.pdf(t, filepath.Join(write(t, e, ""), "index.html")), -1)); n < 2 {
		t.Errorf("got a front page of %d leaves of paper, want more than one", n)
	}
}
