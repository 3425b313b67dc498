package dashboards

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"sort"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"farthing/dashboards/draw"
	"farthing/dashboards/layout"
	"farthing/pipeline/result"
)

// chartLibrary is the chart library's file, which a clone does not have until
// it is fetched; without it the pages are tested as they are then.
func chartLibrary() string {
	if dir := os.Getenv("FARTHING_ASSETS"); dir != "" {
		return filepath.Join(dir, layout.LibraryFile)
	}
	return ""
}

func some(v float64) result.Num { return result.Some(v) }

// hostile puts text that breaks out of HTML, scripts, lines and folders into every name.
func hostile() *result.Edition {
	const bad = `</script><script>alert(1)</script>"'<b>&` + "\u202e" + `../../x`
	s := typical()
	s.months = 4
	s.regions = []result.Region{{Region: "../../x", Name: bad}, {Region: "..", Name: "שלום"}, {Region: `a"b'c`, Name: ""}}
	e := s.edition()
	e.Name, e.Caution, e.Hash, e.Deflator = bad, bad, "0123", bad
	for i := range e.Households {
		e.Households[i].Name = bad
	}
	for i := range e.Publish {
		e.Publish[i].Programme, e.Publish[i].Basket = "/etc/"+bad, bad
	}
	for i := range e.Reach {
		e.Reach[i].Programme, e.Reach[i].Basket, e.Reach[i].CurrencyCode = "/etc/"+bad, bad, "<i>"
	}
	for i := range e.Baskets {
		e.Baskets[i].Basket, e.Baskets[i].Deflator = bad, bad
	}
	for i := range e.Lines {
		e.Lines[i].Basket, e.Lines[i].Item, e.Lines[i].Grade, e.Lines[i].FilledBy = bad, bad, bad, bad
	}
	for i := range e.Moved {
		e.Moved[i].Basket, e.Moved[i].Item, e.Moved[i].Grade = bad, bad, bad
	}
	e.Sources[0].Name, e.Sources[0].Licence = bad, bad
	e.Warnings[1].Text, e.Warnings[1].Cure = bad, bad
	e.Options = [][2]string{{bad, bad}}
	return e
}

// editions are the made-up states every page must be able to show.
func editions() map[string]*result.Edition {
	with := func(change func(*spec)) *result.Edition {
		s := typical()
		change(&s)
		return s.edition()
	}
	bare := &result.Edition{Hash: "00", Meta: result.Meta{Name: "bare", AsOf: "2024-12-31"}}
	unpriced := &result.Edition{Hash: "00", Meta: result.Meta{Name: "no rows", Publish: []result.Combination{{Programme: "p", Region: "r", Household: "h", Basket: "b"}}}}
	return map[string]*result.Edition{
		"typical":      typical().edition(),
		"bare":         bare,
		"unpriced":     unpriced,
		"one month":    with(func(s *spec) { s.months = 1 }),
		"gap at end":   with(func(s *spec) { s.price = without(s.price, 22, 23) }),
		"all gaps":     with(func(s *spec) { s.price = func(int, int) result.Num { return result.Num{} } }),
		"no allowance": with(func(s *spec) { s.allow = func(int) result.Num { return result.Num{} } }),
		"fed":          with(func(s *spec) { s.allow = func(int) result.Num { return some(250) } }),
		"ranged":       with(func(s *spec) { s.ranged, s.paidOn = true, 15 }),
		"long names":   longest(),
		"ten years":    with(func(s *spec) { s.months, s.regions = 120, s.regions[:1] }),
		"40 regions":   with(func(s *spec) { s.months, s.regions = 3, manyRegions(40) }),
		"hostile":      hostile(),
		"weekly":       weekly(),
	}
}

// longest has long names, some of which break nowhere.
func longest() *result.Edition {
	s := typical()
	s.months = 14
	long := s.edition()
	long.Name = strings.Repeat("A long name for a small workspace ", 6)
	for i := range long.Regions {
		long.Regions[i].Name = strings.Repeat("Upper and Lower ", 8) + fmt.Sprint(i)
	}
	for i := range long.Households {
		long.Households[i].Name = "Householdwithanamethatdoesnotbreakanywhereatall" + strings.Repeat("x", 60) + fmt.Sprint(i)
	}
	for i := range long.ItemNames {
		long.ItemNames[i].Name = strings.Repeat("a kind of food of which much is said ", 3) + strings.Repeat("y", 50) + fmt.Sprint(i)
	}
	return long
}

// without leaves the months out.
func without(price func(r, m int) result.Num, months ...int) func(r, m int) result.Num {
	return func(r, m int) result.Num {
		for _, gap := range months {
			if m == gap {
				return result.Num{}
			}
		}
		return price(r, m)
	}
}

// write writes an edition's pages into a folder of a folder, and gives the inner one.
func write(t *testing.T, e *result.Edition, library string) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "site")
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := Write(dir, e, english, library, "", false); err != nil {
		t.Fatal(err)
	}
	return dir
}

// files lists what stands below a folder, sorted.
func files(t testing.TB, dir string) map[string][]byte {
	t.Helper()
	m := map[string][]byte{}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		rel, err := filepath.Rel(dir, path)
		if err != nil {
			return err
		}
		m[filepath.ToSlash(rel)], err = os.ReadFile(path)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// node is an element of a page.
type node struct {
	name string
	attr map[string]string
	text string // of itself and what is in it
	kids []*node
}

// parse reads a page as nested elements; a page that does not nest is an error.
func parse(t *testing.T, page []byte) *node {
	t.Helper()
	d := xml.NewDecoder(bytes.NewReader(page))
	d.Strict, d.AutoClose, d.Entity = false, xml.HTMLAutoClose, xml.HTMLEntity
	root := &node{}
	stack := []*node{root}
	for {
		tok, err := d.Token()
		if err == io.EOF {
			return root
		}
		if err != nil {
			t.Fatalf("got %v, want a page that nests", err)
		}
		switch tok := tok.(type) {
		case xml.StartElement:
			n := &node{name: tok.Name.Local, attr: map[string]string{}}
			for _, a := range tok.Attr {
				n.attr[a.Name.Local] = a.Value
			}
			top := stack[len(stack)-1]
			top.kids = append(top.kids, n)
			stack = append(stack, n)
		case xml.EndElement:
			stack = stack[:len(stack)-1]
		case xml.CharData:
			for _, n := range stack {
				n.text += string(tok)
			}
		}
	}
}

// all gives the elements of a name below n, "*" for any.
func (n *node) all(name string) (found []*node) {
	for _, k := range n.kids {
		if name == "*" || k.name == name {
			found = append(found, k)
		}
		found = append(found, k.all(name)...)
	}
	return found
}

func (n *node) one(t *testing.T, name string) *node {
	t.Helper()
	found := n.all(name)
	if len(found) != 1 {
		t.Fatalf("got %d %s elements, want 1", len(found), name)
	}
	return found[0]
}

func TestStructure(t *testing.T) {
	for name, e := range editions() {
		t.Run(name, func(t *testing.T) {
			if len(e.Publish) > 2 && name != "40 regions" {
				e.Publish = e.Publish[len(e.Publish)-2:] // the thin region's gaps included
			}
			library := ""
			if name == "ranged" || name == "hostile" { // the lines of others are like theirs
				library = chartLibrary()
			}
			dir := write(t, e, library)
			all := files(t, dir)
			if _, ok := all["index.html"]; !ok {
				t.Fatal("got no index.html, want one")
			}
			for file, b := range all {
				switch filepath.Ext(file) {
				case ".html":
					checkPage(t, file, b, all, e.Invented)
				case ".svg":
					checkFigure(t, file, b, e.Invented)
				}
			}
		})
	}
}

// remote finds what a browser might fetch from elsewhere in an attribute.
var remote = regexp.MustCompile(`(?i)^\s*(\w+:)?//|^\s*(https?|javascript|vbscript):|url\(['"]?[^#'"]`)

func checkPage(t *testing.T, file string, b []byte, all map[string][]byte, invented bool) {
	t.Helper()
	if t.Failed() {
		return
	}
	root := parse(t, b)
	fail := func(format string, args ...any) { t.Errorf(file+": "+format, args...) }
	for _, name := range []string{"h1", "main", "title"} {
		in := root
		if name == "title" { // a drawing's rows have titles too
			in = root.one(t, "head")
		}
		if n := in.all(name); len(n) != 1 || strings.TrimSpace(n[0].text) == "" {
			fail("got %d %s, want one with words", len(n), name)
		}
	}
	if root.one(t, "html").attr["lang"] != "en" {
		fail("got no language, want one")
	}
	if len(root.all("header")) != 1 || len(root.all("footer")) != 1 || len(root.all("nav")) == 0 {
		fail("got no header, footer or nav, want each")
	}
	ids := map[string]bool{}
	for _, n := range root.all("*") {
		for a, v := range n.attr {
			switch {
			case a == "style" || strings.HasPrefix(a, "on"):
				fail("got attribute %s=%q on %s, want none", a, v, n.name)
			case a == "id" && ids[v]:
				fail("got the id %q twice", v)
			case a == "id":
				ids[v] = true
			case a != "aria-label" && remote.MatchString(v): // words are no address
				fail("got the remote address %q in %s of %s, want none", v, a, n.name)
			}
		}
		switch n.name {
		case "style", "iframe", "object", "form":
			fail("got an element %s with %q, want none", n.name, n.text)
		case "script":
			if n.attr["type"] == "application/json" {
				if !json.Valid([]byte(n.text)) {
					fail("got an option that is no JSON: %.80s", n.text)
				}
			} else if n.attr["src"] == "" || strings.TrimSpace(n.text) != "" {
				fail("got a script of its own, want only files: %.80s", n.text)
			}
		case "svg":
			if n.attr["role"] == "img" && n.attr["aria-label"] == "" {
				fail("got a drawing without words")
			}
			if invented && n.attr["class"] == "drawn" && !strings.Contains(n.text, "Invented demo data") {
				fail("got a drawing that does not say its data are invented: %.80s", n.text)
			}
		case "th":
			if n.attr["scope"] == "" {
				fail("got a header %q without scope", n.text)
			}
		case "table":
			checkTable(t, file, n)
		}
	}
	if invented && !strings.Contains(root.one(t, "header").text, "invented demo data") {
		fail("got a head that does not say the data are invented")
	}
	for _, n := range root.all("*") {
		for _, a := range []string{"href", "src"} {
			v, ok := n.attr[a]
			switch {
			case !ok || v == "data:," || strings.HasPrefix(v, "data/"):
			case strings.HasPrefix(v, "#"):
				if !ids[v[1:]] {
					fail("got a link to %s, which is not in the page", v)
				}
			case all[v] == nil:
				fail("got %s=%q, want a file of the site", a, v)
			}
		}
		if v, ok := n.attr["data-plot"]; ok && !ids[v] {
			fail("got a plot of table %q, which is not in the page", v)
		}
	}
	for _, r := range string(b) {
		if r == '\u202e' {
			fail("got a mark that turns the reading direction, want it replaced")
		}
	}
}

func checkTable(t *testing.T, file string, n *node) {
	t.Helper()
	if c := n.all("caption"); len(c) != 1 || strings.TrimSpace(c[0].text) == "" {
		t.Errorf("%s: got a table without caption", file)
	}
	columns := len(n.one(t, "thead").all("th"))
	for _, tr := range n.one(t, "tbody").all("tr") {
		width := 0
		for _, c := range tr.kids {
			if span, err := strconv.Atoi(c.attr["colspan"]); err == nil {
				width += span
			} else {
				width++
			}
		}
		if width != columns {
			t.Errorf("%s: got a row of %d cells, want %d: %s", file, width, columns, tr.text)
		}
		if tr.kids[0].name != "th" {
			t.Errorf("%s: got a row without a header: %s", file, tr.text)
		}
	}
}

func checkFigure(t *testing.T, file string, b []byte, invented bool) {
	t.Helper()
	n := parse(t, b).one(t, "svg")
	if label := n.attr["aria-label"]; label == "" || !strings.Contains(strings.Join(strings.Fields(n.text), ""), strings.Join(strings.Fields(label), "")[:8]) {
		t.Errorf("%s: got no headline %q in the drawing, want it", file, n.attr["aria-label"])
	}
	if invented && !strings.Contains(n.text, "Invented demo data") {
		t.Errorf("%s: got a drawing that does not say its data are invented", file)
	}
	for _, k := range n.all("*") {
		if k.attr["style"] != "" || k.attr["href"] != "" || k.name == "script" || k.name == "style" {
			t.Errorf("%s: got %s %v, want a drawing that stands alone", file, k.name, k.attr)
		}
	}
}

// TestInside looks for files beside the site's folder.
func TestInside(t *testing.T) {
	above := t.TempDir()
	dir := filepath.Join(above, "site")
	if err := os.Mkdir(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := Write(dir, hostile(), english, "", "", true); err != nil {
		t.Fatal(err)
	}
	name := regexp.MustCompile(`^site/(index\.html|style\.css|farthing\.js|[a-z0-9_-]+\.html|figures/[a-z0-9_.-]+\.(svg|png))$`)
	for file := range files(t, above) {
		if !name.MatchString(file) {
			t.Errorf("got the file %q, want only safe names inside the site", file)
		}
	}
}

// unescape undoes fileName, the slow and plain way.
func unescape(name string) []string {
	parts := []string{""}
	for i := 0; i < len(name); i++ {
		last := &parts[len(parts)-1]
		switch c := name[i]; {
		case c == '-':
			parts = append(parts, "")
		case c != '_':
			*last += string(c)
		case name[i+1] == '_' || name[i+1] == '-':
			*last += string(name[i+1])
			i++
		default:
			b, _ := strconv.ParseUint(name[i+1:i+3], 16, 8)
			*last += string([]byte{byte(b)})
			i += 2
		}
	}
	return parts
}

func TestFileName(t *testing.T) {
	for _, c := range []struct {
		parts []string
		want  string
	}{
		{[]string{"reach", "food", "maximum", "tavrin"}, "reach-food-maximum-tavrin"},
		{[]string{"a-b", "c_d"}, "a_-b-c__d"},
		{[]string{"../../x", ""}, "_2e_2e_2f_2e_2e_2fx-"},
		{[]string{"CON", "é"}, "_43_4f_4e-_c3_a9"},
	} {
		if got := fileName(c.parts...); got != c.want {
			t.Errorf("%q: got %q, want %q", c.parts, got, c.want)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		parts := rapid.SliceOfN(rapid.StringMatching(`[-_a-cA./\x00é]{0,6}`), 1, 4).Draw(t, "parts")
		if got := unescape(fileName(parts...)); strings.Join(got, "\x01") != strings.Join(parts, "\x01") {
			t.Fatalf("got %q back from %q, want %q", got, fileName(parts...), parts)
		}
	})
	long := strings.Repeat("x", 300)
	a, b := fileName("reach", long, "a"), fileName("reach", long, "b")
	if a == b || len(a) > 200 {
		t.Errorf("got %q and %q, want two names of at most 200 bytes", a, b)
	}
}

func TestSameBytes(t *testing.T) {
	e := typical().edition()
	e.Publish = e.Publish[len(e.Publish)-2:]
	a, b := files(t, write(t, e, chartLibrary())), files(t, write(t, e, chartLibrary()))
	for name := range a {
		if !bytes.Equal(a[name], b[name]) {
			t.Errorf("%s: got other bytes the second time, want the same", name)
		}
	}
	if len(a) != len(b) {
		t.Errorf("got %d files and then %d, want the same", len(a), len(b))
	}
}

// TestHeadlines holds the sentences to figures computed by hand from the
// invented basket of 29.74 XTS a week, 4.2486 a day: 156 / (4.2486 x 1.20) =
// 30.60 days; 13 % dearer 27.08; 14 % dearer 26.84; 165.36 / (x 1.145) = 28.33.
func TestHeadlines(t *testing.T) {
	flat := func(x float64) func(int, int) result.Num {
		return func(int, int) result.Num { return some(29.74 / 7 * x) }
	}
	allow := func(x float64) func(int) result.Num { return func(int) result.Num { return some(x) } }
	for _, c := range []struct {
		name   string
		change func(*spec)
		h1     string
		lead   string
		row    string // cells of the newest row that has days
	}{
		{"a day short", func(s *spec) { s.months, s.price, s.allow = 1, flat(1), allow(156) },
			"In January 2023 the allowance fed 30 of 31 days: the money ran out on 31 January", "short by 2.05 XTS", "156.0000 5.0983 30.60 30 31 31 Jan 2.0469 0.0220"},
		{"February 2024", func(s *spec) { s.months, s.price, s.allow = 14, flat(1.13), allow(156) },
			"In February 2024 the allowance fed 27 of 29 days: the money ran out on 28 February", "In January 2023, the base month, it fed 27 of 31.", "156.0000 5.7611 27.08 27 29 28 Feb"},
		{"March 2024", func(s *spec) { s.months, s.price, s.allow = 15, flat(1.14), allow(156) },
			"In March 2024 the allowance fed 26 of 31 days: the money ran out on 27 March", "A year before, in March 2023, it fed 26 of 31.", "156.0000 5.8120 26.84 26 31 27 Mar"},
		{"fed to the end", func(s *spec) { s.months, s.price, s.allow = 1, flat(1), allow(200) },
			"In January 2023 the allowance covered this basket for all 31 days", "It would have covered 39.23 days, 8.23 more than the month has. 41.95 XTS of the 200.00 XTS was left", "200.0000 5.0983 39.23 31 31 lasted 0.0000"},
		{"nothing fed", func(s *spec) { s.months, s.price, s.allow = 1, flat(1), allow(5) },
			"In January 2023 the allowance fed 0 of 31 days: the money ran out on 1 January", "", "5.0000 5.0983 0.98 0 31 1 Jan"},
		{"gap at the end", func(s *spec) { s.months, s.price, s.allow = 24, without(flat(1.145), 22, 23), allow(165.36) },
			"In October 2024, the last month with a full price, the allowance fed 28 of 31 days: the money ran out on 29 October",
			"There is a gap after it: no figure for November and December 2024 (a price is missing).", "165.3600 5.8375 28.33 28 31 29 Oct"},
		{"no allowance at the end", func(s *spec) {
			s.months, s.price = 2, flat(1)
			s.allow = func(m int) result.Num { return result.Num{V: 156, OK: m == 0} }
		}, "In January 2023, the last month with an allowance, the allowance fed 30 of 31 days: the money ran out on 31 January", "(no allowance known)", ""},
		{"months without an allowance", func(s *spec) {
			s.months, s.price = 24, flat(1)
			s.allow = func(m int) result.Num { return result.Num{V: 156, OK: m < 4 || m > 9} }
		}, "In December 2024 the allowance fed 30 of 31 days: the money ran out on 31 December", "There is no figure for May to October 2023, 6 months (no allowance known).", ""},
		{"a range", func(s *spec) { s.months, s.price, s.allow, s.ranged = 1, flat(1), allow(156), true },
			"In January 2023 the allowance fed 30 of 31 days: the money ran out on 31 January", "The 95\u202f% range across the shops seen is 29.37 to 32.13 days", "156.0000 5.0983 30.60 29.37 32.13 30 31"},
		{"no allowance", func(s *spec) { s.months, s.price = 2, flat(1); s.allow = func(int) result.Num { return result.Num{} } },
			"No allowance is known for this household and place, so the days it feeds can not be counted", "In February 2023 the basket cost 5.10 XTS a day.", ""},
		{"no price", func(s *spec) { s.months = 2; s.price = func(int, int) result.Num { return result.Num{} } },
			"No month has every price it takes to count the days", "Nothing is guessed", ""},
		{"paid on the 15th", func(s *spec) { s.months, s.price, s.allow, s.paidOn = 1, flat(1), allow(156), 15 },
			"In January 2023 the allowance fed 30 of 31 days from pay day to pay day: the money ran out on 14 February",
			"The allowance was 2.05 XTS less than the basket of the calendar month’s 31 days.", "156.0000 5.0983 30.60 30 31 31 14 Feb"}, // 31 x 5.0983 = 158.05
		// Paid on 28 February and on 31 March, 31 days later, in a month of 28.
		{"paid on the 31st, all covered", func(s *spec) { s.months, s.price, s.allow, s.paidOn = 2, flat(1), allow(200), 31 },
			"In February 2023 the allowance covered this basket for all 31 days from pay day to pay day",
			"It would have covered 39.23 days, 8.23 more than it was paid for. The allowance was 57.25 XTS more", "200.0000 5.0983 39.23 31 31 28 lasted"},
		{"paid on the 31st, short", func(s *spec) { s.months, s.price, s.allow, s.paidOn = 2, flat(1), allow(150), 31 },
			"In February 2023 the allowance fed 29 of 31 days from pay day to pay day: the money ran out on 29 March", "In January 2023, the base month, it fed 28 of 28.", "150.0000 5.0983 29.42 29 31 28 29 Mar"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := typical()
			c.change(&s)
			all := files(t, write(t, s.edition(), ""))
			root := parse(t, all["index.html"])
			if got := root.one(t, "h1").text; got != c.h1 {
				t.Errorf("got  %q\nwant %q", got, c.h1)
			}
			lead := ""
			for _, p := range root.all("p") {
				if p.attr["class"] == "lead" {
					lead = p.text
				}
			}
			if !strings.Contains(lead, c.lead) {
				t.Errorf("got the lead %q, want %q in it", lead, c.lead)
			}
			row := ""
			for _, tr := range root.all("tr") {
				if tr.attr["class"] == "now" {
					var cells []string
					for _, k := range tr.kids[1:] {
						cells = append(cells, k.text)
					}
					row = strings.Join(cells, " ")
				}
			}
			if !strings.HasPrefix(row, c.row) {
				t.Errorf("got the row %q, want %q", row, c.row)
			}
		})
	}
}

// weekly has an allowance of 21.00 a week, and of 23.50 from April 2024.
func weekly() *result.Edition {
	paid := func(m int) float64 {
		if m < 15 {
			return 21
		}
		return 23.5
	}
	s := typical()
	s.allow = func(m int) result.Num { return some(paid(m) * float64((jan2023 + result.Month(m)).Days()) / 7) }
	e := s.edition()
	for i := range e.Allowances {
		a := &e.Allowances[i]
		a.AmountAsPaid, a.Per = some(paid(int(a.Month-jan2023))*float64(a.Persons.V)), "week"
	}
	return e
}

// TestWeeklyAllowance: 21.00 a week is 93.00 in 31 days and 87.00 in 29. Only
// the raise of April 2024 is a step.
func TestWeeklyAllowance(t *testing.T) {
	page := files(t, write(t, weekly(), ""))["index.html"]
	// The line moves in the one step alone: 21 x 30.4375 / 7 = 91.3125, 23.5 x 30.4375 / 7 = 102.1830.
	rows := tableRows(t, page, "cost-table")
	for i, row := range rows {
		want := []string{"91.3125", "21.0000"}
		if i >= 15 {
			want = []string{"102.1830", "23.5000"}
		}
		if got := []string{row["Allowance"].text, row["As paid"].text}; !slices.Equal(got, want) || row["Per"].text != "week" {
			t.Errorf("%s: got %v a %s, want %v a week", row["Month"].text, got, row["Per"].text, want)
		}
	}
	if len(rows) != 24 {
		t.Errorf("got %d months of cost, want 24", len(rows))
	}
	if want := "it is paid as 23.50 XTS a week, and 23.50 × 31 ÷ 7 = 104.07."; !strings.Contains(string(page), want) { // 728.5 / 7
		t.Errorf("got no %q in the working, want it", want)
	}
	if want := "in a standard month; the allowance came to 102.18<"; !strings.Contains(string(page), want) {
		t.Errorf("got no %q over the line, want it", want)
	}
	for _, n := range parse(t, page).all("section") {
		if n.attr["id"] != "days" {
			continue
		}
		if h := n.all("h2")[0].text; !strings.HasSuffix(h, ", through one raise of the allowance") {
			t.Errorf("got the headline %q, want one raise in it", h)
		}
		if got := strings.Count(n.text, ": allowance "); got != 2 { // the wide strip and the slim one
			t.Errorf("got %d steps, want 2", got)
		}
		if want := "1 Apr 2024: allowance 21.00 to 23.50 a week"; !strings.Contains(n.text, want) {
			t.Errorf("got no %q, want it", want)
		}
		return
	}
	t.Error("got no part of days, want one")
}

// TestStripIsPaidPeriod: paid on the 31st, January's allowance is for the 28
// days to 28 February, and February's for the 31 to 31 March (a calendar).
func TestStripIsPaidPeriod(t *testing.T) {
	s := typical()
	s.months, s.paidOn = 3, 31
	e := s.edition()
	v := newView(newSite("", e, english), e.Publish[0])
	for i, want := range []int{28, 31, 30} {
		if got := v.stripMonth(v.reach[i]); got.Days != want || got.Fed > want {
			t.Errorf("%s: got %d of %d days, want of %d", got.Name, got.Fed, got.Days, want)
		}
	}
}

// TestBasketHeadlines: 13 % dearer than the base month, by construction.
func TestBasketHeadlines(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*spec)
		h1     string
	}{
		{"dearer", func(s *spec) {
			s.months, s.price = 2, func(_, m int) result.Num { return some(4.2486 * (1 + 0.13*float64(m))) }
		},
			"As seen in these shops, the basket cost 5.76 XTS a day in February 2023, 13.0\u202f% above its price in January 2023"},
		{"cheaper", func(s *spec) {
			s.months, s.price = 2, func(_, m int) result.Num { return some(4.2486 * (1 - 0.1*float64(m))) }
		},
			"As seen in these shops, the basket cost 4.59 XTS a day in February 2023, 10.0\u202f% below its price in January 2023"},
		{"no change", func(s *spec) { s.months, s.price = 2, func(int, int) result.Num { return some(4.2486) } },
			"As seen in these shops, the basket cost 5.10 XTS a day in February 2023, as much as in January 2023"},
		{"only the base month", func(s *spec) { s.months = 1; s.price = func(int, int) result.Num { return some(4.2486) } },
			"As seen in these shops, the basket cost 5.10 XTS a day in January 2023"},
		{"no total", func(s *spec) { s.months = 1; s.price = func(int, int) result.Num { return result.Num{} } },
			"No month has a full price; in January 2023 the priced part of the basket cost 4.80 XTS a day"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := typical()
			c.change(&s)
			all := files(t, write(t, s.edition(), ""))
			if got := parse(t, all["basket-tavrin-single-plain.html"]).one(t, "h1").text; got != c.h1 {
				t.Errorf("got  %q\nwant %q", got, c.h1)
			}
		})
	}
}

// TestRegionHeadlines: the edition's prices rise from region to region by
// 5 % of the first, so that the last is (1 + 0.10)/(1 + 0.05) = 1.0476 times the second.
func TestRegionHeadlines(t *testing.T) {
	flat := func(r, _ int) result.Num { return some(4 * (1 + 0.05*float64(r))) }
	for _, c := range []struct {
		name     string
		change   func(*spec)
		h1, lead string
		parts    []string
	}{
		{"sure", func(s *spec) { s.sure = true },
			"In February 2023 the same basket cost 4.8\u202f% more in Oddel Skerries than in Mirrow Bay", "every rank is sure. The levels compare the items observed in every ranked region, 89.24\u202f% of the basket’s cost; left out: milk, whole. It is a level in one month, not a change.", []string{"ranks", "levels"}},
		{"not sure", func(*spec) {},
			"In February 2023 there was no clear difference in what the basket cost between Mirrow Bay and Oddel Skerries", "What is not sure: the order. Each of them may hold any rank.", []string{"ranks", "levels"}},
		{"a newer month without a ranking", func(s *spec) { s.sure, s.months, s.price = true, 3, without(flat, 2) },
			"In February 2023 the same basket cost 4.8\u202f% more in Oddel Skerries than in Mirrow Bay", "none is possible for March 2023", []string{"ranks", "levels"}},
		{"one without a price", func(s *spec) {
			s.price = func(r, m int) result.Num { return result.Num{V: 4, OK: r != 2} }
		}, "In February 2023 no two regions could be ranked", "item by item", []string{"unranked", "levels"}},
		{"none with a price", func(s *spec) { s.price = func(int, int) result.Num { return result.Num{} } },
			"In February 2023 none of the two regions had every price of the basket, so none can be ranked", "", []string{"unranked", "levels"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := typical()
			s.months, s.price = 2, flat
			c.change(&s)
			root := parse(t, files(t, write(t, s.edition(), ""))["regions-plain.html"])
			if got := root.one(t, "h1").text; got != c.h1 {
				t.Errorf("got  %q\nwant %q", got, c.h1)
			}
			main := root.one(t, "main")
			if !strings.Contains(main.text, c.lead) {
				t.Errorf("got %q, want %q in it", main.text, c.lead)
			}
			var parts []string
			for _, n := range main.all("section") {
				parts = append(parts, n.attr["id"])
			}
			if fmt.Sprint(parts) != fmt.Sprint(c.parts) {
				t.Errorf("got the parts %v, want %v", parts, c.parts)
			}
			for _, tr := range main.all("tr") { // an ancestor never stands beside its parts
				if strings.Contains(tr.text, "Tavrin") {
					t.Errorf("got the row %q, want none of the whole", tr.text)
				}
			}
		})
	}
}

// movedEdition has lines of one basket, each with what it adds to a cost of 100
// XTS, in XTS: percentage points are XTS.
func movedEdition(from result.Month, adds ...float64) *result.Edition {
	s := typical()
	s.regions, s.price = s.regions[:1], func(int, int) result.Num { return some(1) }
	e := s.edition()
	e.Moved = nil
	for i, add := range adds {
		name := fmt.Sprintf("item_%02d", i+1)
		e.Moved = append(e.Moved, result.Moved{Region: "tavrin", Basket: "plain", Item: name, From: from, To: jan2023 + 23, PriceFrom: some(10), PriceTo: some(10 + add),
			Change: some(add * 10), Pure: some(add * 10), Size: some(0), Mix: some(0), Contribution: some(add), NMatched: result.Count(3), Rank: result.Count(1)})
	}
	return e
}

// By hand from what each line adds.
func TestMovedHeadlines(t *testing.T) {
	const year = jan2023 + 11
	long := []float64{3, 2, 1}
	for range 20 {
		long = append(long, 0.0149) // 20 x 0.0149 = 0.298
	}
	imputed := movedEdition(year, 1, 3)
	imputed.Moved[1].ImputedShare, imputed.Moved[1].Pure, imputed.Moved[1].NMatched = some(1), result.Num{}, result.Int{}
	average := movedEdition(year, 2)
	average.Moved[0].NMatched, average.Moved[0].Rank = result.Int{}, result.Int{}
	lacking := movedEdition(year, 1, 2)
	lacking.Moved[0].PriceFrom, lacking.Moved[0].Contribution, lacking.Moved[1].Contribution = result.Num{}, result.Num{}, result.Num{}
	for i := range lacking.Lines {
		if l := &lacking.Lines[i]; l.Item == "oats" && l.Month == year {
			l.UnitPrice = result.Num{}
		}
	}
	both := movedEdition(year, 1, 2)
	both.Moved = append(both.Moved, movedEdition(jan2023, 4).Moved...)
	odd := movedEdition(year, 2) // oats at half as much again as in the months beside
	odd.Moved[0].Item = "oats"
	for i := range odd.Items {
		if it := &odd.Items[i]; it.Item == "oats" && it.Region == "tavrin" {
			if it.UnitPrice = some(2); it.Month == year {
				it.UnitPrice = some(3)
			}
		}
	}
	sized := movedEdition(year, 2) // +20 %, of which a pack a ninth larger in price per unit: 1.2 = 1.08 x 1/0.9
	sized.Moved[0].Pure, sized.Moved[0].Size = some(8), some(100./9)
	const in = "As seen in these shops, the basket cost "
	for _, c := range []struct {
		name     string
		e        *result.Edition
		h1, said string
	}{
		{"more", movedEdition(year, 0.5, 3, 1, 2), in + "6.50\u202f% more in December 2024 than in December 2023, and item 02, item 04 and item 03 made 6.00 of the 6.50 percentage points", "Four lines, one sum: +6.50"},
		{"more, with some back", movedEdition(year, 3, -1, 2), in + "4.00\u202f% more in December 2024 than in December 2023: what cost more added 5.00 percentage points, what cost less took 1.00 off", "Three lines, one sum: +5.00 and \u22121.00 make +4.00"},
		{"the most goes the other way", movedEdition(year, 3, -4, 2), in + "1.00\u202f% more in December 2024 than in December 2023: what cost more added 5.00 percentage points, what cost less took 4.00 off", "What moved it most: item 02 \u22124.00, item 01 +3.00 and item 03 +2.00 points."},
		{"less", movedEdition(year, -3, 0.5, -1), in + "3.50\u202f% less in December 2024 than in December 2023: what cost more added 0.50 percentage points, what cost less took 4.00 off", ""},
		{"more than the whole made by some", movedEdition(year, 2, 2, -0.3), in + "3.70\u202f% more in December 2024 than in December 2023: what cost more added 4.00 percentage points, what cost less took 0.30 off", ""},
		{"under a tenth the other way", movedEdition(year, 2, 1, 1, 1, -0.3), in + "4.70\u202f% more in December 2024 than in December 2023, and item 01, item 02 and item 03 made 4.00 of the 4.70 percentage points", "and \u22120.30 make +4.70"},
		{"an odd month", odd, in + "2.00\u202f% more in December 2024 than in December 2023, and oats, rolled made 2.00 of the 2.00 percentage points",
			"oats, rolled was unusual in December 2023: 3.00, against 2.00 the month before and 2.00 the month after; its change is from that."},
		{"what items made adds up as the figure shows it: 0.29 + 0.14 + 0.13", movedEdition(year, 0.285, 0.136, 0.129, 0.1045, 0.0945), in + "0.75\u202f% more in December 2024 than in December 2023, and item 01, item 02 and item 03 made 0.56 of the 0.75 percentage points", ""},
		{"a hair above the rounded whole is not more than it", movedEdition(year, 1.333, 0.667, 0.333), in + "2.33\u202f% more in December 2024 than in December 2023, and item 01, item 02 and item 03 made 2.33 of the 2.33 percentage points", ""},
		{"nor is one below", movedEdition(year, -2.004), in + "2.00\u202f% less in December 2024 than in December 2023, and item 01 made 2.00 of the 2.00 percentage points", ""},
		{"all of one", movedEdition(year, 2, 0.1), in + "2.10\u202f% more in December 2024 than in December 2023, and item 01 made 2.00 of the 2.10 percentage points", ""},
		{"as much", movedEdition(year, 2, -2), in + "as much in December 2024 as in December 2023: what cost more added 2.00 percentage points, what cost less took 2.00 off", ""},
		{"nothing moved", movedEdition(year, 0, 0), in + "as much in December 2024 as in December 2023", "Two lines, one sum: 0.00"},
		{"from the base month", movedEdition(jan2023, 2), in + "2.00\u202f% more in December 2024 than in January 2023, and item 01 made 2.00 of the 2.00 percentage points", "One line, one sum: +2.00"},
		{"a month apart", movedEdition(jan2023+22, 2), in + "2.00\u202f% more in December 2024 than in November 2024, and item 01 made 2.00 of the 2.00 percentage points", ""},
		{"a year before all else", both, in + "3.00\u202f% more in December 2024 than in December 2023, and item 02 and item 01 made 3.00 of the 3.00 percentage points",
			"<summary><h2>" + in + "4.00\u202f% more in December 2024 than in January 2023"},
		{"many", movedEdition(year, long...), in + "6.30\u202f% more in December 2024 than in December 2023, and item 01, item 02 and item 03 made 6.00 of the 6.30 percentage points", "23 lines, one sum"},
		{"many alike", movedEdition(year, slices.Repeat([]float64{0.1}, 40)...), in + "4.00\u202f% more in December 2024 than in December 2023, and item 01, item 02 and item 03 made 0.30 of the 4.00 percentage points", ">26 others<"},
		{"many next to nothing", movedEdition(year, slices.Repeat([]float64{0.004}, 40)...), in + "0.16\u202f% more in December 2024 than in December 2023", ">26 others<"},
		{"imputed", imputed, in + "4.00\u202f% more in December 2024 than in December 2023, and item 02 (imputed) and item 01 made 4.00 of the 4.00 percentage points",
			"Of the +4.00 points, +1.00 come from the same goods at other prices and +3.00 from imputed prices."},
		// ln 1.08 / ln 1.2 = 0.4221, of 2 points 0.84
		{"a smaller pack", sized, in + "2.00\u202f% more in December 2024 than in December 2023, and item 01 made 2.00 of the 2.00 percentage points",
			"Of the +2.00 points, +0.84 come from the same goods at other prices and +1.16 from other pack sizes."},
		{"published averages", average, in + "2.00\u202f% more in December 2024 than in December 2023, and item 01 made 2.00 of the 2.00 percentage points", "have no packs"},
		{"no total", lacking, "What moved the basket from December 2023 to December 2024 can not be added up: a price is missing", "In December 2023, 1 of its three items had no price here: oats, rolled."},
	} {
		t.Run(c.name, func(t *testing.T) {
			page := files(t, write(t, c.e, ""))["moved-tavrin-plain.html"]
			root := parse(t, page)
			if got := root.one(t, "h1").text; got != c.h1 {
				t.Errorf("got  %q\nwant %q", got, c.h1)
			}
			if got := strings.ReplaceAll(string(page), "&#43;", "+"); !strings.Contains(got, c.said) {
				t.Errorf("got no %q on the page, want it", c.said)
			}
			if strings.Contains(string(page), "was unusual in") != (c.name == "an odd month") {
				t.Error("got an unusual month, or none, want the other")
			}
			for _, svg := range root.all("svg") { // the lines add up to the sum below them
				if svg.attr["class"] == "drawn" {
					checkStairs(t, svg, 15)
				}
			}
		})
	}
}

// checkStairs adds up the figures at the end of a staircase's rows.
func checkStairs(t *testing.T, svg *node, most int) {
	t.Helper()
	var cents []int
	for _, g := range svg.all("g") {
		texts := g.all("text")
		digits := strings.NewReplacer(minus, "-", "+", "", ".", "").Replace(texts[len(texts)-1].text)
		n, err := strconv.Atoi(digits)
		if err != nil {
			t.Fatal(err)
		}
		cents = append(cents, n)
	}
	sum, last := 0, len(cents)-1
	for _, n := range cents[:last] {
		sum += n
	}
	if sum != cents[last] || last > most || last == 0 {
		t.Errorf("got %d lines that add up to %d hundredths above a sum of %d, want at most %d lines that add up to it", last, sum, cents[last], most)
	}
}

// TestApportion: rounded values are less than a unit off and add up.
func TestApportion(t *testing.T) {
	for i, got := range apportion([]float64{1. / 3, 1. / 3, 1. / 3, -0.004}, 0.996) { // 33.3 three times and -0.4 make 99.6: 100
		if want := []string{"0.34", "0.33", "0.33", "0.00"}[i]; got.Fixed(2) != want {
			t.Errorf("got %s in place %d, want %s", got.Fixed(2), i, want)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		values := rapid.SliceOfN(rapid.Float64Range(-30, 30), 1, 20).Draw(t, "values")
		total, sum := 0.0, 0.0
		for _, v := range values {
			total += v
		}
		for i, n := range apportion(values, total) {
			sum += n.V
			if math.Abs(n.V-values[i]) >= 0.01+1e-9 {
				t.Fatalf("got %v for %v, want it less than a hundredth off", n.V, values[i])
			}
		}
		if math.Abs(sum-math.Round(total*100)/100) > 1e-9 {
			t.Fatalf("got a sum of %v, want %v", sum, total)
		}
	})
}

// TestItemHeadlines: oats are 30 % of 4.2486 a day, over 0.1 kg: 12.7458 a kilogram.
func TestItemHeadlines(t *testing.T) {
	// graded gives the items a grade, and another in which each costs 20; the baskets have the grade plain.
	graded := func(own, other string) func(*result.Edition, *spec) {
		return func(e *result.Edition, _ *spec) {
			for i := range e.Lines {
				e.Lines[i].Grade = "plain"
			}
			for i := range e.Items {
				it := e.Items[i]
				it.Grade, it.UnitPrice = other, some(20)
				e.Items[i].Grade = own
				e.Items = append(e.Items, it)
			}
		}
	}
	for _, c := range []struct {
		name     string
		change   func(*result.Edition, *spec)
		h1, lead string
	}{
		{"seen", nil, "Oats, rolled cost 12.75 XTS a kilogram in Tavrin in December 2023, as seen in these shops",
			"It rests on nine prices from four shops, noted from 2 December to 27 December."},
		{"a year before", func(e *result.Edition, _ *spec) { e.Items[0].Month -= 1 },
			"Oats, rolled cost 12.75 XTS a kilogram in Tavrin in December 2023, as seen in these shops, as much as in December 2022", ""},
		{"two shops", func(e *result.Edition, _ *spec) {
			for i := range e.Items {
				e.Items[i].NOutlets = result.Count(2)
			}
		}, "Oats, rolled cost 12.75 XTS a kilogram in Tavrin in December 2023, as seen in these shops", "from two shops, noted from 2 December to 27 December; a range across shops takes at least three."},
		{"average", func(e *result.Edition, _ *spec) {
			for i := range e.Items {
				e.Items[i].NObservations, e.Items[i].NOutlets, e.Items[i].OldestOn = result.Int{}, result.Int{}, ""
			}
		}, "Oats, rolled cost 12.75 XTS a kilogram in Tavrin in December 2023, by published averages", "is not known, so no range can be given."},
		{"averages at one end", func(e *result.Edition, _ *spec) {
			for i := range e.Items {
				if e.Items[i].Region == "oddel-skerries" {
					e.Items[i].NObservations, e.Items[i].NOutlets, e.Items[i].OldestOn = result.Int{}, result.Int{}, ""
				}
			}
		}, "Oats, rolled cost 12.75 XTS a kilogram in Tavrin in December 2023, as seen in these shops",
			"in Mirrow Bay to 12.75 in Oddel Skerries, the first as seen in these shops, the last by published averages"},
		{"filled", func(e *result.Edition, _ *spec) {
			for i := range e.Items {
				e.Items[i].FilledBy, e.Items[i].MonthsSinceSeen = "carried", result.Count(2)
			}
		}, "Oats, rolled cost 12.75 XTS a kilogram in Tavrin in December 2023", "That price was not seen but filled: last price kept; the last was seen two months before."},
		{"two grades: the basket's leads", graded("plain", "best"),
			"Oats, rolled, plain cost 12.75 XTS a kilogram in Tavrin in December 2023, as seen in these shops", "Below is what other grades of it cost: best."},
		{"another grade without a name", graded("", "plain"),
			"Oats, rolled, plain cost 20.00 XTS a kilogram in Tavrin in December 2023, as seen in these shops", "Below is what other grades of it cost: not named."},
		{"none", func(e *result.Edition, _ *spec) {
			for i := range e.Items {
				e.Items[i].UnitPrice = result.Num{}
			}
		}, "Oats, rolled: no price in Tavrin", "Nothing is guessed"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := typical()
			s.months, s.price = 12, func(int, int) result.Num { return some(4.2486) }
			e := s.edition()
			e.ItemNames[0].Name = "Oats, rolled"
			if c.change != nil {
				c.change(e, &s)
			}
			root := parse(t, files(t, write(t, e, ""))["item-oats.html"])
			if got := root.one(t, "h1").text; got != c.h1 {
				t.Errorf("got  %q\nwant %q", got, c.h1)
			}
			if got := root.one(t, "main").text; !strings.Contains(got, c.lead) {
				t.Errorf("got %q, want %q in it", got, c.lead)
			}
		})
	}
}

// TestSaid looks for sentences that must stand on a page, or must not.
func TestSaid(t *testing.T) {
	real := func(change func(*spec)) *result.Edition {
		s := typical()
		s.invented, s.months = false, 24
		change(&s)
		e := s.edition()
		e.Caution = "A full diet costs more."
		return e
	}
	fed := real(func(s *spec) { s.allow = func(int) result.Num { return some(300) } })
	averages := real(func(*spec) {})
	for i := range averages.Lines {
		averages.Lines[i].NObservations = result.Int{}
	}
	for i := range averages.Baskets {
		averages.Baskets[i].NObservations, averages.Baskets[i].NOutlets = result.Int{}, result.Int{}
	}
	filled := real(func(*spec) {})
	for i := range filled.Baskets {
		filled.Baskets[i].NObservations, filled.Baskets[i].NOutlets = result.Count(0), result.Count(0)
	}
	for i := range filled.Reach {
		filled.Reach[i].NObservations, filled.Reach[i].NOutlets = result.Count(0), result.Count(0)
	}
	bare := real(func(*spec) {})
	bare.Deflator = ""
	for i := range bare.Baskets {
		bare.Baskets[i].RealPerDay = result.Num{}
	}
	noIndex := real(func(*spec) {})
	for i := range noIndex.Baskets {
		noIndex.Baskets[i].RealPerDay = result.Num{}
	}
	settled := real(func(*spec) {})
	settled.Held = 1
	ranges := real(func(s *spec) { s.ranged = true })
	for i := range ranges.Lines {
		if l := &ranges.Lines[i]; l.Region == "mirrow_bay" && l.Month == jan2023+23 && l.Item == "oats" {
			l.FilledBy = "carried"
		}
	}
	dealt := typical().edition() // two packs of 1 kg at 1.00 each, 1.50 for both, of which 1.2 are used
	for i := range dealt.ShoppingLines {
		if g := &dealt.ShoppingLines[i]; g.Shopping == "oat-bowl" {
			g.Packs, g.PackPrice, g.Deals, g.Till, g.APQuantity, g.Leftover, g.LeftoverLCU = result.Count(2), some(1), result.Count(1), some(1.5), some(1.2), some(.8), some(.8)
		}
	}
	for i := range dealt.Shoppings {
		if r := &dealt.Shoppings[i]; r.Shopping == "oat-bowl" {
			r.Till, r.Leftover, r.Portion, r.Saving = some(1.5), some(.8), some(1.2), some(.5)
		}
	}
	thinDiets, over := typical().edition(), typical().edition()
	for i := range thinDiets.Diets {
		if d := &thinDiets.Diets[i]; d.Region == "mirrow_bay" {
			d.NOutlets, d.ObsStatus, d.ObsStatusAll = result.Count(1), "U", "U"
		}
	}
	for i := range over.Shoppings { // both dishes with a cost
		if r := &over.Shoppings[i]; r.Kind == "recipe" && r.Balance.OK {
			r.Balance = result.Some(-r.PerMeal.V)
		}
	}
	oddThen := typical().edition()
	for i := range oddThen.Items {
		if r := &oddThen.Items[i]; r.Item == "oats" {
			if r.UnitPrice = some(2); r.Month == jan2023+11 {
				r.UnitPrice = some(3)
			}
		}
	}
	const year = jan2023 + 11
	folded := movedEdition(year, 2)
	folded.Moved = append(folded.Moved, movedEdition(jan2023+22, 0.285, 0.136, 0.129, 0.1045, 0.0945).Moved...)
	oddOfLittle := typical().edition()
	oddOfLittle.Items = oddThen.Items
	for i := range oddOfLittle.Lines {
		if l := &oddOfLittle.Lines[i]; l.Item == "oats" {
			l.Weight = some(.015) // half as dear again: 0.75 % of the cost
		}
	}
	noneHeld, onlyHeld := typical().edition(), typical().edition()
	for i := range noneHeld.Items {
		r := &noneHeld.Items[i]
		r.NHeld, r.HeldLo, r.HeldHi = result.Count(0), result.Num{}, result.Num{}
	}
	for i := range onlyHeld.Items {
		if r := &onlyHeld.Items[i]; r.Item == "oats" {
			r.UnitPrice, r.Lo, r.Hi, r.ObsStatus, r.ObsStatusAll = result.Num{}, result.Num{}, result.Num{}, "Q", "Q"
			r.NHeld, r.HeldLo, r.HeldHi = result.Count(2), some(8), some(9)
		}
	}
	heldNow, evenDiets := typical().edition(), typical().edition()
	for i := range heldNow.Items {
		if r := &heldNow.Items[i]; r.Item == "plum" && r.Month == jan2023+23 {
			r.NHeld, r.HeldLo, r.HeldHi = result.Count(1), some(50), some(50)
		}
	}
	n := 0.0
	for i := range evenDiets.Diets {
		if d := &evenDiets.Diets[i]; d.PerDay.OK {
			d.PerDay = result.Some(2 + .0001*n)
			n++
		}
	}
	alone := typical().edition()
	alone.Shoppings = alone.Shoppings[len(alone.Shoppings)-1:]
	alone.Shoppings[0].Allowance, alone.Shoppings[0].PerDay, alone.Shoppings[0].PerMeal = result.Num{}, result.Num{}, result.Num{}
	gap := real(func(s *spec) { s.allow = func(m int) result.Num { return result.Num{V: 156, OK: m < 4 || m > 9} } })
	for _, c := range []struct {
		name, file, words string
		e                 *result.Edition
		want              bool
	}{
		{"a caution near the top of real data", "index.html", "<p class=\"caution\"><b>Before you read on.</b> A full diet costs more.</p>", fed, true},
		{"no ragged edge where all days are covered", "index.html", "ragged edge", fed, false},
		{"a ragged edge", "index.html", "ragged edge", averages, true},
		{"days covered are not called fed", "index.html", "the allowance fed all", fed, false},
		{"reach is named", "index.html", ">reach, days<", fed, true},
		{"the gap of the allowance", "index.html", "no allowance", gap, true},
		{"averages are not shelves", "basket-tavrin-single-plain.html", "seen on shelves", averages, false},
		{"averages are named", "basket-tavrin-single-plain.html", "published average", averages, true},
		{"all filled", "basket-tavrin-single-plain.html", "<h1>No price was seen this month; all are filled by rule. So filled, the basket cost", filled, true},
		{"all filled is not averages", "basket-tavrin-single-plain.html", "published averages, which", filled, false},
		{"reach of all filled", "index.html", "No price was seen this month; all are filled by rule.", filled, true},
		{"reach of all filled is not averages", "index.html", "published averages, which", filled, false},
		{"grounds: both counts in digits", "grounds.html", "In 3 of 3 months every price", real(func(s *spec) { s.months, s.imputed = 3, func(int, int) float64 { return 0 } }), true},
		{"no n of averages", "basket-tavrin-single-plain.html", "how many prices stand behind them is not known", averages, true},
		{"the deflator is named", "basket-tavrin-single-plain.html", "In money of January 2023 by all items", fed, true},
		{"prices in general", "basket-tavrin-single-plain.html", "in general", fed, false},
		{"no deflator named", "basket-tavrin-single-plain.html", "Name a deflator in farthing.toml", bare, true},
		{"a deflator named without values", "basket-tavrin-single-plain.html", "Name a deflator in farthing.toml", noIndex, false},
		{"what a total lacks", "basket-oddel_-skerries-single-plain.html", "an item was not sold: oats, rolled, 8.00\u202f% of the cost [M]", fed, true},
		{"a run of months in one row", "basket-oddel_-skerries-single-plain.html", "data-month=\"2023-01\" data-spans=\"3\"><th scope=\"row\">Jan 2023 to Mar 2023</th>", fed, true},
		{"grounds: rows set aside and the cure", "grounds.html", "write fl oz for a liquid", fed, true},
		{"grounds: rows held and settled since", "grounds.html", "Of two rows held when they were read, one has since been settled by a line of tables/corrections.", settled, true},
		{"no change of a basket without a range is called sure", "moved-tavrin-plain.html", "rose", fed, false},
		{"a change with a range that leaves none out", "moved-tavrin-plain.html", "between &#43;7.00 and &#43;9.25 % (95\u202f% range): the basket rose.", real(func(s *spec) { s.ranged = true }), true},
		{"a change with a range that does not", "moved-tavrin-plain.html", "between −4.00 and &#43;9.25 % (95\u202f% range), which has no change in it: no clear difference.", real(func(s *spec) { s.ranged, s.months = true, 2 }), true},
		{"why a line has no rank", "moved-tavrin-plain.html", "too few seen", fed, true},
		{"an imputed line has no rank", "moved-tavrin-plain.html", ">imputed<", fed, true},
		{"grounds: rows mended since", "grounds.html", "Three rows were set aside, 1 of them mended since", fed, true},
		{"grounds: how to make it again", "grounds.html", "farthing rebuild --compare", fed, true},
		{"grounds: the hash", "grounds.html", "edition 0123456789abcdef", fed, true},
		{"grounds: letters in words", "grounds.html", "thin data: fewer than 3 shops", fed, true},
		{"the month's own basket: 5.8174 a day x 31", "index.html", "December 2024 has 31 days, so the basket of that month alone cost 180.34 XTS", typical().edition(), true},
		{"a part of the meals has no balance", "meals.html", ">a part of the meals<", typical().edition(), true},
		{"its share: 8 x 1.3978", "meal-two_-dishes.html", "So the allowance of a whole day, 4.19 XTS, is no measure of it: the share of these meals is 11.18 XTS, and in the pot they cost 8.16 XTS.", typical().edition(), true},
		{"within its share: no change is needed", "meal-two_-dishes.html", ">Enough<", typical().edition(), false},
		{"over its share: a change may be enough", "meal-plum_-stew.html", ">Enough<", typical().edition(), true},
		{"at the till 9.60 / 4 is above 1.3978, 2.40 / 4 is not", "meals.html", "Bought in whole packs, each dish by itself, one takes more than a meal’s share", typical().edition(), true},
		{"whose allowance stands beside the diets", "diets-tavrin.html", "The allowance (household: Household of four) comes to 4.19 XTS a person and day", typical().edition(), true},
		{"a deal: 1.2 of 2 used of 1.50 paid", "meal-oat_-bowl.html", "Of 1.50 XTS paid at the till, 0.90 XTS is eaten and 0.60 XTS is left over", dealt, true},
		{"a deal is nothing that was in the kitchen", "meal-oat_-bowl.html", "was in the kitchen before", dealt, false},
		{"what was in the kitchen", "meal-plum_-stew.html", "0.50 XTS of what is in the pot was in the kitchen before", typical().edition(), true},
		{"a part plan alone", "meals.html", "In January 2023 the plan two-dishes cost, for 8 of 12 meals, <b>1.02 XTS a serving</b>", alone, true},
		{"a part plan without an allowance", "meal-two_-dishes.html", "So the allowance", alone, false},
		{"1.06 / 1.07 and 1.06 / 1.0925 are both below 1", "index.html", "A year before, in December 2023, its reach was 28.83 days, now it is 28.43, a clear difference by the shops of both months taken together.", ranges, true},
		{"1 / 0.96 is above 1, 1 / 1.0925 below", "index.html", "the base month, its reach was 30.60 days, no clear difference by the shops of both months taken together.", real(func(s *spec) { s.ranged, s.months = true, 2 }), true},
		{"items that the levels leave out", "regions-plain.html", "; left out: oats, rolled.", ranges, true},
		{"how each region moved", "regions-plain.html", "How it moved: ", ranges, true},
		{"whose prices weigh the lines", "basket-oddel_-skerries-single-plain.html", "at the prices of Tavrin where it has one", typical().edition(), true},
		{"held prices are counted, of April and October", "item-plum.html", "Three prices are held for a check and in no mean (April to October 2024).", typical().edition(), true},
		{"held prices are in the table", "item-plum.html", ">Held from<", typical().edition(), true},
		{"a held mark is explained", "item-plum.html", "<span>held for a check, off the scale</span>", typical().edition(), true},
		{"where none is held no column is", "item-plum.html", ">Held<", noneHeld, false},
		{"nor a mark explained", "item-plum.html", "held for a check, in no mean", noneHeld, false},
		{"nor said", "item-plum.html", "Small hollow squares", noneHeld, false},
		{"a held price on the scale is explained", "item-plum.html", "<span>held for a check, in no mean</span>", typical().edition(), true},
		{"only what is drawn is", "item-oats.html", "<span>held for a check, in no mean</span>", typical().edition(), false},
		{"the lower of two, below the scale: 0.3 x 3.2837", "item-plum.html", ">0.99<", typical().edition(), true},
		{"a month whose one price is held says so", "item-oats.html", ">prices held back<", typical().edition(), true},
		{"and has it in its row", "item-oats.html", ">41.5000<", typical().edition(), true},
		{"a total that lacks it", "basket-oddel_-skerries-single-plain.html", "prices held back: oats, rolled, 8.00\u202f% of the cost [Q]", typical().edition(), true},
		{"nothing but held prices: its words", "item-oats.html", "<h1>oats, rolled: no price in Tavrin</h1>", onlyHeld, true},
		{"nothing but held prices: how many", "item-oats.html", "48 prices are held for a check and in no mean (January 2023 to December 2024).", onlyHeld, true},
		{"nothing but held prices: no line is explained", "item-oats.html", "month by month, newest with a dot", onlyHeld, false},
		{"nothing but held prices: their money", "item-oats.html", "unit price by region, XTS a kilogram", onlyHeld, true},
		{"a table of normal rows has no statuses", "diets-tavrin.html", ">Status<", typical().edition(), false},
		{"a table with a row of doubt has", "moved-tavrin-plain.html", ">Status<", typical().edition(), true},
		{"nor has one whose doubtful rows say it in words", "meals.html", ">Status<", typical().edition(), false},
		{"the one change of least sacrifice stands once", "meal-plum_-stew.html", "<tr><th scope=\"row\">2</th>", typical().edition(), false},
		{"other changes stay", "meal-plum_-stew.html", "<tr><th scope=\"row\">3</th>", typical().edition(), true},
		{"thin diets are marked", "diets-tavrin.html", "Mirrow Bay [U]", thinDiets, true},
		{"thin diets are not set beside others", "diets-tavrin.html", "[U] thin data: fewer than 3 shops", thinDiets, true},
		{"no thin diets", "diets-tavrin.html", "[U]", typical().edition(), false},
		{"of two dishes the dearest is named", "meals.html", "cost more a serving than a meal’s share of the allowance, 1.40 XTS: <b>most of all ", over, true},
		{"of one dish it is named", "meals.html", "XTS: <b>plum stew by", typical().edition(), true},
		{"a held price of the month is told", "moved-tavrin-plain.html", "Some prices are held for a check and in none of these figures: plums in December 2024.", heldNow, true},
		{"an odd month to be set beside", "index.html", "A year before, in December 2023, its reach was 28.83 days, now it is 28.43; unusually dear then: oats, rolled.", oddThen, true},
		{"an odd price of little weight", "index.html", "unusually dear then", oddOfLittle, false},
		{"under a table what items made is rounded once", "moved-tavrin-plain.html", "made 0.55 of the 0.75 percentage points", folded, true},
		{"a part plan's nutrients are no day's", "meal-two_-dishes.html", "Nutrients of 8 of 12 meals, spread over persons and days", typical().edition(), true},
		{"and with the reach", "index.html", "Some prices are held for a check and in none of these figures: plums in December 2024.", heldNow, true},
		{"prices held of other months are not", "index.html", "Some prices are held", typical().edition(), false},
		{"a part plan has no day's cost", "meal-two_-dishes.html", "A person’s day costs", typical().edition(), false},
		{"it has a serving's: 8.16 / 8", "meal-two_-dishes.html", "The plan has only 8 of the 12 meals of these days: 1.02 XTS a serving.", typical().edition(), true},
		{"what keeps shorter than it is used", "meal-plum_-stew.html", "By the rules of thumb, used after its opened pack keeps: plums.", typical().edition(), true},
		{"regions of all but one cost are in no order", "diets-tavrin.html", "All nutrients cost about as much in each region compared", evenDiets, true},
		{"a band is explained", "basket-tavrin-single-plain.html", "range across the shops seen", real(func(s *spec) { s.ranged = true }), true},
	} {
		if got := strings.Contains(string(files(t, write(t, c.e, ""))[c.file]), c.words); got != c.want {
			t.Errorf("%s: got %v for %q in %s, want %v", c.name, got, c.words, c.file, c.want)
		}
	}
}

// TestSize holds every page of 40 regions, 200 items and ten years to a
// megabyte, and the front page to 300 kB without the chart library.
func TestSize(t *testing.T) {
	s := typical()
	s.months, s.regions, s.ranged = 120, manyRegions(40), true
	e := s.edition()
	e.Publish = e.Publish[:1]
	for i := range 200 {
		name := fmt.Sprintf("item_%03d", i)
		e.ItemNames = append(e.ItemNames, result.ItemName{Item: name, Name: "Item number " + name, BaseUnit: "kg"})
		e.Moved = append(e.Moved, result.Moved{Region: "r00", Basket: "plain", Item: name, From: jan2023 + 118, To: jan2023 + 119, Contribution: some(0.01)})
		e.Items = append(e.Items, result.Item{Region: "r00", Item: name, Month: jan2023, UnitPrice: some(1), BaseUnit: "kg"})
	}
	dir := write(t, e, chartLibrary())
	all := files(t, dir)
	if pages, largest, front := pageSizes(t, dir); pages < 200 || largest > 1<<20 || front > 300<<10 {
		t.Errorf("got %d pages, the largest of %d bytes, the front page of %d, want 200 or more, up to a megabyte and 300 kB", pages, largest, front)
	}
	page := string(all["item-milk.html"])
	if !strings.Contains(page, "are in item.csv") {
		t.Error("got no word that older months are left to the file, want one")
	}
	if n := strings.Count(page, "<title>Region number"); n != 80 {
		t.Errorf("got %d panels, want one a region at both widths, 80", n)
	}
}

// TestChoices follows the links from the front page: every page is reached.
func TestChoices(t *testing.T) {
	for _, name := range []string{"typical", "40 regions", "hostile"} {
		t.Run(name, func(t *testing.T) {
			all := files(t, write(t, editions()[name], ""))
			reached, queue := map[string]bool{"index.html": true}, []string{"index.html"}
			for len(queue) > 0 {
				page := parse(t, all[queue[0]])
				queue = queue[1:]
				for _, a := range page.all("a") {
					if h := a.attr["href"]; strings.HasSuffix(h, ".html") && !reached[h] {
						reached[h] = true
						queue = append(queue, h)
					}
				}
			}
			first := kinds()[0].file(editions()[name].Publish[0]) + ".html" // the same page as index.html
			for file := range all {
				if strings.HasSuffix(file, ".html") && !reached[file] && file != first {
					t.Errorf("got no way to %s, want one", file)
				}
			}
		})
	}
}

func TestWithoutLibrary(t *testing.T) {
	all := files(t, write(t, typical().edition(), ""))
	page := string(all["index.html"])
	if strings.Contains(page, layout.LibraryFile) || all[layout.LibraryFile] != nil {
		t.Error("got the chart library, want none")
	}
	if !strings.Contains(page, "made without the chart library") {
		t.Error("got no word that the lines are not drawn, want one")
	}
	if err := Write(t.TempDir(), typical().edition(), english, "none.js", "", false); err == nil || !strings.Contains(err.Error(), "none.js") {
		t.Errorf("got %v, want an error that names the missing file", err)
	}
}

// rgb reads #rgb or #rrggbb.
func rgb(t *testing.T, hex string) (c [3]float64) {
	t.Helper()
	if len(hex) == 4 {
		hex = "#" + strings.Repeat(hex[1:2], 2) + strings.Repeat(hex[2:3], 2) + strings.Repeat(hex[3:4], 2)
	}
	for i := range c {
		n, err := strconv.ParseUint(hex[1+2*i:3+2*i], 16, 8)
		if err != nil {
			t.Fatal(err)
		}
		c[i] = float64(n)
	}
	return c
}

// luminance and contrast follow WCAG 2.2, definitions "relative luminance" and "contrast ratio".
func luminance(t *testing.T, hex string) float64 {
	t.Helper()
	var sum float64
	for i, c := range rgb(t, hex) {
		c /= 255
		if c <= 0.04045 {
			c /= 12.92
		} else {
			c = math.Pow((c+0.055)/1.055, 2.4)
		}
		sum += []float64{0.2126, 0.7152, 0.0722}[i] * c
	}
	return sum
}

func contrast(t *testing.T, a, b string) float64 {
	t.Helper()
	x, y := luminance(t, a), luminance(t, b)
	return (max(x, y) + 0.05) / (min(x, y) + 0.05)
}

// palettesOf are the style sheet's inks for light, dark and paper.
func palettesOf(t *testing.T) map[string]map[string]string {
	t.Helper()
	roots := regexp.MustCompile(`:root \{[^}]*--paper: #[^}]*\}`).FindAllString(string(layout.Style), -1)
	if len(roots) != 3 {
		t.Fatalf("got %d palettes, want light, dark and print", len(roots))
	}
	token := regexp.MustCompile(`--(\w+): (#[0-9a-f]+)`)
	palettes := map[string]map[string]string{}
	for i, name := range []string{"light", "dark", "print"} {
		palettes[name] = map[string]string{}
		for _, m := range token.FindAllStringSubmatch(roots[i], -1) {
			palettes[name][m[1]] = m[2]
		}
	}
	return palettes
}

// TestContrast holds the measure to the definition's own bound, and the inks
// of the drawings to those of the light palette.
func TestContrast(t *testing.T) {
	if c := contrast(t, "#000", "#ffffff"); math.Abs(c-21) > 1e-9 {
		t.Fatalf("got %v for black on white, want 21", c)
	}
	light := palettesOf(t)["light"]
	for token, colour := range map[string]string{"paper": draw.Paper, "ink": draw.Ink, "muted": draw.Muted, "fed": draw.Fed, "short": draw.Short, "rule": draw.Rule, "hair": draw.Hair, "tint": draw.Tint, "edge": draw.Edge} {
		if light[token] != colour {
			t.Errorf("got --%s %s in the style sheet, want %s as in the drawings", token, light[token], colour)
		}
		if !strings.Contains(string(layout.Style), `"`+colour+`"] { `) {
			t.Errorf("got no rule that re-inks %s, want one", colour)
		}
	}
}

// TestInks looks for a colour in a drawing that the style sheet does not re-ink.
func TestInks(t *testing.T) {
	all := files(t, write(t, editions()["ranged"], chartLibrary()))
	used := map[string]bool{}
	for name, b := range all {
		if strings.HasSuffix(name, ".svg") || strings.HasSuffix(name, ".html") {
			for _, m := range regexp.MustCompile(` ((?:fill|stroke)="#[^"]*")`).FindAllStringSubmatch(string(b), -1) {
				used[m[1]] = true
			}
		}
	}
	var list []string
	for u := range used {
		list = append(list, u)
	}
	sort.Strings(list)
	if len(list) < 5 {
		t.Fatalf("got the inks %q, want more", list)
	}
	for _, u := range list {
		if u != `fill="#000"` && !strings.Contains(string(layout.Style), "svg ["+u+"]") { // #000 is only in clip paths
			t.Errorf("got %s in a drawing, want a rule for it in the style sheet", u)
		}
	}
}
