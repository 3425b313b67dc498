package draw

import (
	"encoding/json"
	"encoding/xml"
	"errors"
	"flag"
	"fmt"
	"image"
	"image/color"
	"io"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
)

var update = flag.Bool("update", false, "write the golden files anew")

// golden compares with testdata/golden/name; a failing run leaves what it got beside it.
func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	file := filepath.Join("..", "..", "testdata", "golden", name)
	if *update {
		if err := os.WriteFile(file, got, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if string(got) != string(want) {
		if err := os.WriteFile(file+".got", got, 0o644); err != nil {
			t.Fatal(err)
		}
		t.Errorf("%s differs from what was drawn: compare it with %s.got, or run with -update", name, name)
	}
}

// wellFormed reads a drawing as XML and refuses what a strict page may not hold.
func wellFormed(t *testing.T, svg string) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(svg))
	for {
		tok, err := d.Token()
		if err == io.EOF {
			return
		}
		if err != nil {
			t.Fatalf("got %v in %s, want well-formed XML", err, svg)
		}
		if e, ok := tok.(xml.StartElement); ok {
			if n := e.Name.Local; n == "style" || n == "script" {
				t.Errorf("got a %s element, want none", n)
			}
			for _, a := range e.Attr {
				if n := a.Name.Local; n == "style" || n == "class" && e.Name.Local != "svg" || strings.HasPrefix(n, "on") {
					t.Errorf("got attribute %s=%q, want none", n, a.Value)
				}
			}
		}
	}
}

// sample has one month of each kind.
func sample() []Month {
	nan := math.NaN()
	return []Month{
		{Year: 2023, Name: "Dec", Full: "Dec 2023", Days: 31, Fed: 31, Lo: nan, Hi: nan, Count: "33.24", RunsOut: "lasted", OutDay: "lasted", Words: "all 31 days fed"},
		{Year: 2024, Name: "Jan", Full: "Jan 2024", Days: 31, Gap: "an item was not sold [M]", Lo: nan, Hi: nan, Words: "no price"},
		{Year: 2024, Name: "Feb", Full: "Feb 2024", Days: 29, Fed: 27, Part: 0.08, Hatched: true, Lo: nan, Hi: nan, Count: "27.08", RunsOut: "28 Feb", OutDay: "28", Words: "27 of 29 days fed"},
		{Year: 2024, Name: "Mar", Full: "Mar 2024", Days: 31, Fed: 26, Part: 0.84, Lo: 25.5, Hi: 28, Count: "26.84", RunsOut: "27 Mar", OutDay: "27", Words: "with a range"},
		{Year: 2024, Name: "Apr", Full: "Apr 2024", Days: 30, Fed: 28, Part: 0.33, Lo: nan, Hi: nan, Count: "28.33", RunsOut: "29 Apr", OutDay: "29", Step: "1 Apr 2024: allowance 156.00 to 165.36 XTS", Words: "after a raise"},
	}
}

func TestStripGolden(t *testing.T) {
	wide, slim := Strips(english, sample(), []string{"Invented demo data. wide"}, []string{"Invented demo data.", "slim"})
	for name, d := range map[string]Drawing{"strip-wide.svg": wide, "strip-slim.svg": slim} {
		svg := d.File("From 31 of 31 days in December 2023 to 28 of 30 in April 2024", "Each strip is one month.")
		wellFormed(t, string(svg))
		golden(t, name, svg)
	}
}

var openPath = regexp.MustCompile(`<path d="([^"]*)" fill="none" stroke="` + Short + `"`)

// openMarks counts the open marks of a drawing.
func openMarks(svg string) (n int) {
	for _, m := range openPath.FindAllStringSubmatch(svg, -1) {
		n += strings.Count(m[1], "M")
	}
	return n
}

// TestStripCounts counts the marks: a day is inked as fed or framed as not, the first of those perhaps with ink in part.
func TestStripCounts(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		name            string
		m               Month
		ink, part, open int
	}{
		{"none fed", Month{Days: 30}, 0, 0, 30},
		{"part of the first day", Month{Days: 30, Part: 0.5}, 0, 1, 30},
		{"27 and a part of 29", Month{Days: 29, Fed: 27, Part: 0.08}, 27, 1, 2},
		{"a whole number of days", Month{Days: 29, Fed: 27}, 27, 0, 2},
		{"all but a part", Month{Days: 30, Fed: 29, Part: 0.97}, 29, 1, 1},
		{"all fed", Month{Days: 31, Fed: 31}, 31, 0, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			c.m.Lo, c.m.Hi = nan, nan
			for _, s := range []stripSize{wideStrip, slimStrip} {
				got := days(c.m, s, 0)
				ink := 0
				if c.ink > 0 {
					if want := `h` + px(float64(c.ink)*s.pitch) + `"`; !strings.Contains(got, want) {
						t.Errorf("got %s, want a stroke %s", got, want)
					}
					ink = 1
				}
				if n := strings.Count(got, "stroke-dasharray"); n != ink {
					t.Errorf("got %d strokes of ink, want %d", n, ink)
				}
				if n := strings.Count(got, `fill="`+Fed+`"`); n != c.part {
					t.Errorf("got %d days in part, want %d", n, c.part)
				}
				c.m.Lo, c.m.Hi = float64(c.m.Fed)-1.5, float64(c.m.Fed)+1.5 // a line that leaves ink and frames as they are
				for _, svg := range []string{got, days(c.m, s, 0)} {
					if n := openMarks(svg); n != c.open {
						t.Errorf("got %d open days, want %d", n, c.open)
					}
				}
				c.m.Lo, c.m.Hi = nan, nan
			}
		})
	}
}

// TestStripFits keeps the slim strip's marks clear of its figures: 31 days end
// before a number of two decimals starts (7.3 px a digit of 13 px type, the
// widest of the fonts in the style sheet measured here).
func TestStripFits(t *testing.T) {
	s := slimStrip
	marks := s.x0 + 31*s.pitch - (s.pitch - s.mark)
	if figures := s.count - 4.5*7.3; marks > figures {
		t.Errorf("got marks to %.1f px and figures from %.1f, want them apart", marks, figures)
	}
	if s.mark < 5 {
		t.Errorf("got marks of %.1f px, want 5 or more", s.mark)
	}
}

func TestShares(t *testing.T) {
	for _, c := range []struct {
		name              string
		observed, imputed float64
		ink, open         int
	}{
		{"all seen", 1, 0, 50, 0},
		{"none", 0, 0, 0, 50},
		{"92 % seen, 8 % missing", 0.92, 0, 46, 4},
		{"thirds add up", 1.0 / 3, 1.0 / 3, 33, 17},
	} {
		t.Run(c.name, func(t *testing.T) {
			wide, slim := Shares(c.observed, c.imputed, nil, nil)
			wellFormed(t, wide.Inline("drawn", "x"))
			wellFormed(t, slim.Inline("drawn", "x"))
			if n := openMarks(wide.Inner); n != c.open {
				t.Errorf("got %d open marks, want %d", n, c.open)
			}
			if n := openMarks(slim.Inner); n != c.open {
				t.Errorf("got %d open marks on the slim one, want %d", n, c.open)
			}
			if c.ink > 0 && !strings.Contains(wide.Inner, "h"+px(float64(c.ink)*14.4)+`"`) {
				t.Errorf("got %s, want %d inked marks", wide.Inner, c.ink)
			}
		})
	}
}

// lines is a cost with a gap and an imputed month beside an allowance with a step.
func lines() Lines {
	return Lines{
		Words:  english,
		Months: []string{"2023", "", "", "Apr", "", "", ""},
		Series: []Series{
			{Name: "basket", Last: "155.18", Gap: "no full price", Points: []Point{{Value: "155.1789", Lo: "150.25", Hi: "160.5"}, {Value: "157.5", Lo: "151", Hi: "164"}, {Value: "158", Broken: true}, {Value: "158.6"}, {}, {}, {Value: "160.25"}}},
			{Name: "allowance", Last: "165.36", Step: true, Gap: "no allowance", Points: []Point{{Value: "156"}, {Value: "156"}, {}, {Value: "165.36"}, {Value: "165.36"}, {Value: "165.36"}, {Value: "165.36"}}},
		},
	}
}

// panelSample has a panel of each kind: with a range, imputed months and a
// gap, one month alone, none, and held prices on the scale and off both its ends.
func panelSample() []Panel {
	return []Panel{
		{Title: "A region", Last: "2.80 XTS, Jun 2024", Words: "A region: 2.80", Points: []Point{
			{Value: "2.4", Lo: "2.2", Hi: "2.6"}, {Value: "2.5", Lo: "2.25", Hi: "2.75"}, {Value: "2.6", Broken: true}, {}, {Value: "2.7", Lo: "2.5", Hi: "2.9"}, {Value: "2.8"}}},
		{Title: "A region whose name is longer than its panel", Last: "2.50 XTS, Mar 2024", Words: "alone", Points: []Point{{}, {}, {Value: "2.5"}, {}, {}, {}}},
		{Title: "Nothing <here>", Last: "no price", Words: "nothing", Points: make([]Point, 6)},
		{Title: "D", Last: "3.10", Words: "d", Points: []Point{{Value: "3"}, {Value: "3.1"}, {Value: "3.1"}, {Value: "3.1"}, {Value: "3.1"}, {Value: "3.1"}}},
		{Title: "E", Last: "3.10", Words: "e", Points: []Point{{Value: "2.9", HeldLo: "0.3", HeldHi: "2.3"}, {Value: "3.1"}, {HeldLo: "29", HeldHi: "29"}, {Value: "3.1"}, {Value: "3.1"}, {Value: "3", HeldLo: "31.5", HeldHi: "31.5"}}},
	}
}

func rankSample() []RankRow {
	return []RankRow{
		{Name: "Ambrel & Co", Value: "95.6", Level: 95.6, Rank: 1, Lo: 1, Hi: 2, Words: "first or second"},
		{Name: "Tarn Low", Value: "97.0", Level: 97, Rank: 2, Lo: 1, Hi: 2, Words: "first or second"},
		{Name: "Far Isles", Value: "117.0", Level: 117, Rank: 3, Lo: 3, Hi: 3, Words: "third"},
	}
}

func stairSample() ([]Stair, Stair) {
	return []Stair{
		{Name: "Oats & a name that has no room on either sheet", Change: "+20.0 %", Value: "+2.00", Parts: Parts{Pure: 0.8, Size: 1.2}, Words: "oats"},
		{Name: "Plums [I]", Change: "+5.0 %", Value: "+0.50", Parts: Parts{Filled: 0.5}, Words: "plums"},
		{Name: "Oil", Change: "+1.0 %", Value: "+0.10", Parts: Parts{Pure: -0.5, Size: 0.4, Mix: 0.2}, Words: "forth and back"},
		{Name: "Salt", Change: "0.0 %", Value: "0.00", Words: "nothing"},
		{Name: "Milk", Change: "−9.0 %", Value: "−3.20", Parts: Parts{Pure: -3.2}, Words: "milk"},
	}, Stair{Name: "All lines", Value: "−0.60", Words: "the sum"}
}

func coverageSample() ([]Coverage, []string) {
	nan := math.NaN()
	return []Coverage{{1, 0}, {0.8924, 0.1076}, {0.5, 0.2}, {nan, nan}, {0, 0}}, []string{"2024", "", "", "Apr", ""}
}

func purseSample() []Purse {
	return []Purse{
		{Name: "Oats & a name that has no room on either sheet", Value: "0.96 of 2.40", Whole: 2.4, Used: .96, Words: "oats"},
		{Name: "Plums", Value: "7.20 of 9.60", Whole: 9.6, Used: 7.2, Lost: 1.2, Words: "plums"},
		{Name: "Fish", Value: "9.60 of 9.60", Whole: 9.6, Used: 9.6, Words: "fish"},
		{Name: "Milk", Gap: "no price", Words: "milk"},
	}
}

// TestPurses: a bar is as long as its money, and only what is lost is hatched.
func TestPurses(t *testing.T) {
	wide, _ := Purses(english, purseSample(), "XTS", 1.4, "a share 1.40", nil, nil)
	unit := (widePurse.x1 - widePurse.x0) / 10 // the scale ends at 10
	for _, want := range []string{
		fmt.Sprintf(`width="%s" height="15" fill="%s"`, px(.96*unit), Fed), fmt.Sprintf(`width="%s" height="15" fill="%s"`, px(7.2*unit), Fed),
		fmt.Sprintf(`width="%s" height="14" fill="none" stroke="%s"`, px(1.2*unit-1), Short), fmt.Sprintf(`M%s 18V`, px(widePurse.x0+1.4*unit)),
	} {
		if strings.Count(wide.Inner, want) != 1 {
			t.Errorf("got %d of %s, want one", strings.Count(wide.Inner, want), want)
		}
	}
	if n := strings.Count(wide.Inner, `fill="none" stroke="`+Short+`"/>`); n != 1 {
		t.Errorf("got %d outlines of what is lost, want one", n)
	}
}

// TestGolden holds each kind of figure to a drawing that was looked at.
func TestGolden(t *testing.T) {
	mark := []string{"Invented demo data."}
	months, labels := coverageSample()
	lines, sum := stairSample()
	for name, draw := range map[string]func() (Drawing, Drawing){
		"panels": func() (Drawing, Drawing) { return Panels(english, panelSample(), "Jan 2024", "Jun 2024", mark, mark) },
		"ranks":  func() (Drawing, Drawing) { return Ranks(english, rankSample(), "level, mean 100", mark, mark) },
		"stairs": func() (Drawing, Drawing) { return Stairs(english, lines, sum, "unit price", "pp", mark, mark) },
		"purses": func() (Drawing, Drawing) {
			return Purses(english, purseSample(), "XTS", 1.4, "a share 1.40", mark, mark)
		},
		"coverage": func() (Drawing, Drawing) { return Coverages(months, labels, mark, mark) },
	} {
		wide, slim := draw()
		for size, d := range map[string]Drawing{"wide": wide, "slim": slim} {
			svg := d.File("A headline", "What is drawn.")
			wellFormed(t, string(svg))
			golden(t, name+"-"+size+".svg", svg)
		}
	}
}

// TestPanels counts the marks of a panel: what is not there is not drawn.
func TestPanels(t *testing.T) {
	same := func(y float64) float64 { return y }
	for _, c := range []struct {
		name                           string
		points                         []Point
		lines, dashed, rings, ends, no int // strokes of line, broken strokes, rings, dots, words
	}{
		{"two months", []Point{{Value: "1"}, {Value: "2"}}, 1, 0, 0, 1, 0},
		{"a gap is not crossed", []Point{{Value: "1"}, {Value: "2"}, {}, {Value: "2"}, {Value: "1"}}, 2, 0, 0, 1, 0},
		{"a month alone", []Point{{Value: "1"}, {}, {Value: "2"}}, 0, 0, 0, 3, 0}, // the newest twice: as a point and as the end
		{"imputed in the middle", []Point{{Value: "1"}, {Value: "2", Broken: true}, {Value: "2"}}, 0, 1, 1, 1, 0},
		{"imputed to the end", []Point{{Value: "1"}, {Value: "1"}, {Value: "2", Broken: true}}, 1, 1, 1, 0, 0},
		{"nothing", make([]Point, 3), 0, 0, 0, 0, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			svg := trace(c.points, 10, same, english.NoPrices, 0)
			path := func(attr string) (n int) {
				for _, m := range regexp.MustCompile(`<path d="([^"]*)" fill="none" stroke="`+Fed+`" stroke-width="2" `+attr).FindAllStringSubmatch(svg, -1) {
					n += strings.Count(m[1], "M")
				}
				return n
			}
			got := []int{path("stroke-linejoin"), path("stroke-dasharray"), strings.Count(svg, `fill="`+Paper+`"`), strings.Count(svg, `<circle`) - strings.Count(svg, `fill="`+Paper+`"`), strings.Count(svg, ">no prices<")}
			if want := []int{c.lines, c.dashed, c.rings, c.ends, c.no}; !reflect.DeepEqual(got, want) {
				t.Errorf("got %v lines, broken lines, rings, dots, words, want %v: %s", got, want, svg)
			}
		})
	}
	if from, to, _ := Scaled(panelSample()); from > 2.2 || to < 3.1 || to > 5 { // the ranges are inside, a slip is not
		t.Errorf("got a scale from %v to %v, want all in it that counts", from, to)
	}
	if from, to, _ := Scaled([]Panel{{Points: []Point{{}, {HeldLo: "20", HeldHi: "24"}}}}); from > 20 || to < 24 || from < 10 {
		t.Errorf("got a scale from %v to %v, want one of the only prices there are", from, to)
	}
}

// TestHeld: a square of four corners on the scale, a tip of three past it; past each
// end the farthest is named on the side where there is room.
func TestHeld(t *testing.T) {
	area := plotArea{width: 100, top: panelTop, pitch: 50, lo: 1, hi: 3}
	for _, c := range []struct {
		name          string
		points        []Point
		squares, tips int
		values        []string // with the place of each
	}{
		{"none", []Point{{Value: "2"}, {Value: "2"}}, 0, 0, nil},
		{"on the scale", []Point{{Value: "2"}, {HeldLo: "1", HeldHi: "3"}, {HeldLo: "2", HeldHi: "2"}}, 3, 0, nil},
		{"above", []Point{{HeldLo: "2", HeldHi: "24"}, {}}, 1, 1, []string{"8 24.00"}},
		{"the farthest is named, to the left at the end", []Point{{}, {HeldLo: "20", HeldHi: "20"}, {HeldLo: "21", HeldHi: "22.5"}}, 0, 2, []string{"92 22.50"}},
		{"one tip for two past one end", []Point{{HeldLo: "20", HeldHi: "24"}, {HeldLo: "0.2", HeldHi: "0.3"}, {}}, 0, 2, []string{"8 24.00", "58 0.20"}},
		{"below and above", []Point{{HeldLo: "0.2", HeldHi: "20"}, {}}, 0, 2, []string{"8 20.00", "8 0.20"}},
		{"no room between two", []Point{{HeldLo: "20", HeldHi: "20"}, {HeldLo: "9000000", HeldHi: "9000000"}, {HeldLo: "20", HeldHi: "20"}}, 0, 3, nil},
		{"digits as they tell it", []Point{{HeldLo: "0.0003", HeldHi: "1234.5"}, {}}, 0, 2, []string{"8 1235", "8 0.0003"}},
		{"next to nothing is not nothing", []Point{{HeldLo: "0.0000", HeldHi: "2"}, {}}, 1, 1, []string{"8 &lt;0.0001"}},
	} {
		svg := area.held(english, c.points)
		squares, tips := 0, 0
		for _, path := range regexp.MustCompile(`M[^Mz"]*z`).FindAllString(svg, -1) {
			if n := strings.Count(path, "l"); n == 3 {
				squares++
			} else {
				tips++
			}
		}
		var values []string
		for _, m := range regexp.MustCompile(`<text x="([0-9]+)"[^>]*>([^<]+)</text>`).FindAllStringSubmatch(svg, -1) {
			values = append(values, m[1]+" "+m[2])
		}
		if squares != c.squares || tips != c.tips || !slices.Equal(values, c.values) {
			t.Errorf("%s: got %d squares, %d tips, %q; want %d, %d, %q: %s", c.name, squares, tips, values, c.squares, c.tips, c.values, svg)
		}
	}
	plain, _ := Panels(english, []Panel{{Points: []Point{{Value: "1"}, {Value: "2"}}}}, "Jan", "Feb", nil, nil)
	held, _ := Panels(english, []Panel{{Points: []Point{{Value: "1", HeldLo: "0.1", HeldHi: "20"}, {Value: "2"}}}}, "Jan", "Feb", nil, nil)
	if held.Height != plain.Height+2*heldRow {
		t.Errorf("got a height of %v, want two rows of %v more than %v", held.Height, heldRow, plain.Height)
	}
	gap := []Point{{}, {HeldLo: "20", HeldHi: "20"}, {}}
	if svg := trace(gap, 50, func(v float64) float64 { return v }, english.NoPrices, 0); strings.Contains(svg, english.NoPrices) {
		t.Errorf("got %s, want no word that there are no prices: there is one, held", svg)
	}
}

// TestRanks counts squares: each row has one estimate, and one square a rank.
func TestRanks(t *testing.T) {
	for _, n := range []int{2, 5, 40} {
		var rows []RankRow
		for i := range n {
			rows = append(rows, RankRow{Name: "x", Level: float64(i), Rank: i + 1, Lo: max(1, i), Hi: min(n, i+2)})
		}
		wide, slim := Ranks(english, rows, "level", nil, nil)
		for _, d := range []Drawing{wide, slim} {
			estimated := strings.Count(d.Inner, `fill="`+Fed+`"/></g>`) + strings.Count(d.Inner, `height="14" fill="`+Fed+`"/>`)
			possible := strings.Count(d.Inner, `fill-opacity="0.65"`)
			open := 0
			for _, m := range regexp.MustCompile(`<path d="([^"]*)" fill="none" stroke="`+Rule+`"`).FindAllStringSubmatch(d.Inner, -1) {
				open += strings.Count(m[1], "M")
			}
			if estimated != n || possible != 2*n-2 || estimated+possible+open != n*n {
				t.Errorf("%d ranks: got %d estimates, %d possible and %d open, want %d, %d and the rest", n, estimated, possible, open, n, 2*n-2)
			}
			for _, m := range regexp.MustCompile(`<rect x="([0-9.]+)" y="[0-9.]+" width="([0-9.]+)"`).FindAllStringSubmatch(d.Inner, -1) {
				x, _ := strconv.ParseFloat(m[1], 64)
				w, _ := strconv.ParseFloat(m[2], 64)
				if x+w > d.Width+0.01 {
					t.Errorf("%d ranks: got a square to %.1f px, want it inside %.0f", n, x+w, d.Width)
				}
			}
		}
	}
}

// TestManyRanks: more ranks than there is room for squares are a bar from the
// lowest to the highest, with the estimate in it; 100 ranks have a width of
// 250 / 100 px each, (720 - 470) / 100.
func TestManyRanks(t *testing.T) {
	var rows []RankRow
	for i := range 100 {
		rows = append(rows, RankRow{Name: "x", Level: float64(i), Rank: i + 1, Lo: max(1, i-1), Hi: min(100, i+3)})
	}
	wide, _ := Ranks(english, rows, "level", nil, nil)
	bars := regexp.MustCompile(`<rect x="([^"]*)" y="[^"]*" width="([^"]*)" [^>]*fill-opacity`).FindAllStringSubmatch(wide.Inner, -1)
	if len(bars) != 100 || bars[9][1] != "487.5" || bars[9][2] != "12.5" { // ranks 8 to 12: 470 + 7 x 2.5, 5 x 2.5
		t.Errorf("got %d bars, the tenth %v, want 100, the tenth from 487.5 and 12.5 px wide", len(bars), bars[9])
	}
	if n := strings.Count(wide.Inner, "<rect"); n != 200 {
		t.Errorf("got %d marks, want a bar and an estimate a row", n)
	}
}

// TestPen holds the steps of a path to its places.
func TestPen(t *testing.T) {
	var p pen
	p.move(0.04, 50)
	for _, to := range [][2]float64{{1.2, 49.71}, {2.4, 49.7}, {3.5, 51}, {13.8, 81.2}, {3.5, 51}} {
		p.line(to[0], to[1])
	}
	p.move(7, 8)
	p.line(6.9, 8.1)
	// Of steps of 0.04 px each none may be lost: the places are rounded, not the steps.
	p.move(0, 0)
	for i := range 5 {
		p.line(float64(i+1)*0.04, 0)
	}
	want := "M0 50l1.2-.3l1.2 0l1.1 1.3l10.3 30.2l-10.3-30.2" + "M7 8l-.1 .1" + "M0 0l0 0l.1 0l0 0l.1 0l0 0"
	if got := p.String(); got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

// TestStairs measures the bars: each starts where the last ended, and the sum
// runs from zero to the end of the last.
func TestStairs(t *testing.T) {
	unit := func(v float64) float64 { return 100 + 10*v } // px
	for _, c := range []struct {
		name  string
		parts Parts
		at    float64
		want  []string // x, width and height of each solid part and outline
	}{
		{"forth", Parts{Pure: 2}, 1, []string{"110 20 11"}},
		{"back", Parts{Pure: -2}, 1, []string{"90 20 11"}},
		{"two parts", Parts{Pure: 2, Size: 1}, 0, []string{"100 20 11", "120.6 8.8 9.8"}},
		{"forth and back share the height", Parts{Pure: 2, Mix: -1}, 0, []string{"100 20 5.5", "110.6 8.8 4.3"}},
		{"nothing", Parts{}, 3, nil},
	} {
		var got []string
		svg, bothWays := bar(c.parts, c.at, unit, 0)
		if want := strings.Contains(c.name, "and back"); bothWays != want {
			t.Errorf("%s: got both ways %v, want %v", c.name, bothWays, want)
		}
		for _, m := range regexp.MustCompile(`<rect x="([^"]*)" y="[^"]*" width="([^"]*)" height="([^"]*)"`).FindAllStringSubmatch(svg, -1) {
			got = append(got, strings.Join(m[1:], " "))
		}
		if !reflect.DeepEqual(got, c.want) {
			t.Errorf("%s: got %q, want %q", c.name, got, c.want)
		}
	}
	for name, c := range map[string]struct {
		parts Parts
		tips  int
	}{"a rise has no tip": {Parts{Pure: 2}, 0}, "a fall has one": {Parts{Pure: -2}, 1}, "a fall with some back points what falls": {Parts{Pure: -3, Size: 1}, 1}} {
		wide, _ := Stairs(english, []Stair{{Name: "a", Parts: c.parts}}, Stair{}, "", "", nil, nil)
		if n := strings.Count(wide.Inner, `fill="none" stroke="`+Fed+`" stroke-width="1.2"`); n != c.tips {
			t.Errorf("%s: got %d, want %d", name, n, c.tips)
		}
	}
	lines, sum := stairSample()
	wide, slim := Stairs(english, lines, sum, "", "", nil, nil)
	// By hand: -1 to 3 over 386 px from 270 puts zero at 366.5 and -0.6 at 308.6; over 324 px from 2 at 83 and 34.4.
	for svg, want := range map[string]string{wide.Inner: `<rect x="308.6" y="166" width="57.9" height="11" fill="` + Ink, slim.Inner: `<rect x="34.4" y="256" width="48.6" height="11" fill="` + Ink} {
		if !strings.Contains(svg, want) {
			t.Errorf("got %s, want the sum's bar %s", svg, want)
		}
	}
	if n := strings.Count(wide.Inner, `stroke-dasharray`); n != 1 {
		t.Errorf("got %d broken outlines, want one of the imputed line", n)
	}
}

// TestCoverage: a column's ink ends where the known part does.
func TestCoverage(t *testing.T) {
	wide, _ := Coverages([]Coverage{{0.5, 0.2}}, []string{""}, nil, nil)
	// 130 px high from 138: known to 138 - 0.7 x 130 = 47, seen to 138 - 0.5 x 130 = 73.
	for _, want := range []string{"M46 138h22V47h-22z", "M46 73L", "V8.5h"} {
		if !strings.Contains(wide.Inner, want) {
			t.Errorf("got %s, want %s in it", wide.Inner, want)
		}
	}
	wide, _ = Coverages([]Coverage{{math.NaN(), math.NaN()}}, []string{""}, nil, nil)
	if strings.Contains(wide.Inner, Short) {
		t.Errorf("got %s, want nothing for a month of which nothing is known", wide.Inner)
	}
}

func TestOptionGolden(t *testing.T) {
	got, err := lines().Option(Wide, []string{"Invented demo data. </script>"})
	if err != nil {
		t.Fatal(err)
	}
	if strings.ContainsAny(string(got), "<>&") {
		t.Errorf("got %s, want <, > and & escaped", got)
	}
	golden(t, "line-option.json", append(got, '\n'))
}

func TestScale(t *testing.T) {
	line := func(values ...string) Lines {
		var s Series
		for _, v := range values {
			s.Points = append(s.Points, Point{Value: json.Number(v)})
		}
		return Lines{Series: []Series{s}}
	}
	for _, c := range []struct {
		name           string
		l              Lines
		from, to, step float64
	}{
		{"no value", line("", ""), 0, 1, 1},
		{"from 4.25 to 4.9", line("4.25", "", "4.9"), 4.2, 5, 0.2},
		{"from 0 to 100", line("0", "100"), 0, 100, 50},
		{"one value", line("20"), 19, 21, 0.5},
		{"only zero", line("0"), 0, 1, 0.5},
		{"below zero", line("-3", "5"), -4, 6, 2},
		{"thousands", line("1200", "1730"), 1200, 1800, 200},
	} {
		t.Run(c.name, func(t *testing.T) {
			from, to, step := c.l.Scale()
			if from != c.from || to != c.to || step != c.step {
				t.Errorf("got %v to %v by %v, want %v to %v by %v", from, to, step, c.from, c.to, c.step)
			}
		})
	}
}

func TestWrap(t *testing.T) {
	for _, c := range []struct {
		name, text string
		want       []string
	}{
		{"short", "two words", []string{"two words"}},
		{"empty", "  ", nil},
		{"wraps", "aaaa bbbb cccc", []string{"aaaa bbbb", "cccc"}},
		{"a word that is too long", "aa bbbbbbbbbbbbbb", []string{"aa", "bbbbbbbbbb", "bbbb"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := Wrap(c.text, 56.5, 10); !reflect.DeepEqual(got, c.want) { // ten characters
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}

// TestPlain feeds what the library writes: style sheets, style attributes,
// ids and invisible paths.
func TestPlain(t *testing.T) {
	in := `<svg width="10" height="10" xmlns="http://www.w3.org/2000/svg"><rect width="10" height="10" x="0" y="0" id="0" fill="none"></rect>
<path d="M0 0" fill="none" pointer-events="visible" class="zr7-cls-0"></path><path d="M1 1L2 2" fill="none" stroke="#23405c" class="zr7-cls-1"></path>
<text style="font-size:12px;font-family:sans-serif;font-weight:bold;" x="1">a &lt;b&gt;</text><g clip-path="url(#zr7-c0)"></g><defs ><clipPath id="zr7-c0"></clipPath></defs>
<style ><![CDATA[.zr7-cls-0:hover{pointer-events:fill}]]></style></svg>`
	want := `<path d="M1 1L2 2" fill="none" stroke="#23405c"></path><text font-size="12px" font-weight="bold" x="1">a &lt;b&gt;</text><g clip-path="url(#fig-c0)"></g><defs ><clipPath id="fig-c0"></clipPath></defs>`
	if got := plain(in, "fig"); got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
}

func TestEngineErrors(t *testing.T) {
	dir := t.TempDir()
	for _, c := range []struct{ name, file, text, want string }{
		{"no file", "none.js", "", "no such file"},
		{"no script", "bad.js", "function (", "bad.js"},
		{"no charts in it", "other.js", "var x = 1;", "echarts is not defined"},
		{"charts that fail", "fails.js", `var echarts = {registerCustomSeries: function () {}, init: function () { throw new Error("no renderer"); }};`, "no renderer"},
	} {
		t.Run(c.name, func(t *testing.T) {
			file := filepath.Join(dir, c.file)
			if c.text != "" {
				if err := os.WriteFile(file, []byte(c.text), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			e, err := NewEngine(file, "")
			if err == nil {
				_, err = e.Draw(lines(), Wide, "a", nil)
			}
			if err == nil || !strings.Contains(err.Error(), c.want) || !strings.Contains(err.Error(), "chart library") {
				t.Errorf("got %v, want an error of the chart library with %q", err, c.want)
			}
		})
	}
}

// TestEngine draws with the library itself, at both widths, many at once: the
// same figure is the same bytes, whichever machine drew it.
func TestEngine(t *testing.T) {
	dir := os.Getenv("FARTHING_ASSETS")
	if dir == "" {
		t.Skip("no chart library: name its folder in FARTHING_ASSETS")
	}
	file := filepath.Join(dir, "echarts.min.js")
	e, err := NewEngine(file, "")
	if err != nil {
		t.Fatal(err)
	}
	other, err := NewEngine(file, "")
	if err != nil {
		t.Fatal(err)
	}
	for _, width := range []float64{Wide, Slim} {
		first, err := e.Draw(lines(), width, "a", []string{"Invented"})
		if err != nil {
			t.Fatal(err)
		}
		var wg sync.WaitGroup
		for i := range 6 {
			wg.Go(func() {
				l := lines()
				l.Months[1] = strings.Repeat("x", i/2) // three figures, each asked for twice
				again, err := other.Draw(l, width, "a", []string{"Invented"})
				if err != nil || i < 2 && first != again {
					t.Errorf("got other bytes or %v from another engine, want the same", err)
				}
			})
		}
		wg.Wait()
		wellFormed(t, first.Inline("drawn", "x"))
		for _, want := range []string{">no full price<", ">no allowance<", Tint, Edge, ">basket<", ">155.18<", ">allowance<", ">165.36<", ">Invented<", "stroke-dasharray"} {
			if !strings.Contains(first.Inner, want) {
				t.Errorf("got %s, want %s in it", first.Inner, want)
			}
		}
		long := lines() // twenty years, whose newest month has no name
		long.Months = make([]string, 240)
		long.Months[0] = "2004"
		long.Series[0].Points = append(make([]Point, 233), long.Series[0].Points...)
		if d, err := e.Draw(long, width, "a", nil); err != nil || !strings.Contains(d.Inner, ">155.18<") || !strings.Contains(d.Inner, ">no full price<") {
			t.Errorf("got %v %s, want the newest value and the gaps named however many months there are", err, d.Inner)
		}
		_, img := picture(t, first.File("", ""))
		for _, ink := range []string{Tint, Edge} { // a range of two months has its edges in the picture too
			if at := hex(ink); !slices.ContainsFunc(img.(*image.Paletted).Palette, func(c color.Color) bool { return c == at }) {
				t.Errorf("got no %s in the picture, want it", ink)
			}
		}
	}
	if n := len(other.drawn); n != 6 {
		t.Errorf("got %d figures drawn, want each of three once at each width", n)
	}
}

// TestStripRange: in a strip of 15 px a day from 78, with marks of 12 px and ink
// 2.25 px within a frame, the range is a line below from its low to its high end. By
// hand: so many days and a half end at 78 + 15 x days + 6.
func TestStripRange(t *testing.T) {
	for _, c := range []struct {
		name, line string // "" where nothing is drawn
		m          Month
	}{
		{"within the month", "M474 17H519", Month{Days: 31, Fed: 27, Part: .5, Lo: 26.5, Hi: 29.5}},
		{"whole days end at their mark", "M465 17H495", Month{Days: 31, Fed: 27, Lo: 26, Hi: 28}},
		{"past the month", "M525 17H540", Month{Days: 31, Fed: 30, Part: .5, Lo: 30, Hi: 33}},
		{"lasted whatever the shops", "", Month{Days: 31, Fed: 31, Lo: 32, Hi: 60}},
		{"no range", "", Month{Days: 31, Fed: 31, Lo: math.NaN(), Hi: math.NaN()}},
	} {
		got := days(c.m, wideStrip, 2)
		if there := strings.Contains(got, `stroke="`+Ink); there != (c.line != "") || !strings.Contains(got, c.line) {
			t.Errorf("%s: got %s, want the line %q", c.name, got, c.line)
		}
	}
}

// TestKept: a figure drawn by one run is not drawn again by the next, unless its
// file was changed, or what draws it; what a run did not ask for goes, and nothing
// that is not the cache's.
func TestKept(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "drawings")
	drawn := 0
	run := func(library string, figures ...string) {
		t.Helper()
		c := newCache(dir, library)
		for _, f := range figures {
			want := library + " draws " + f
			if got, err := c.get(f, func() (string, error) { drawn++; return want, nil }); err != nil || got != want {
				t.Errorf("got %q, %v, want %q", got, err, want)
			}
		}
		c.sweep(figures)
	}
	kept := func() []string {
		files, err := filepath.Glob(filepath.Join(dir, strings.Repeat("?", 64)))
		if err != nil {
			t.Fatal(err)
		}
		return files
	}
	if err := errors.Join(os.MkdirAll(filepath.Join(dir, "photos"), 0o755), os.WriteFile(filepath.Join(dir, "photos", "label.jpg"), nil, 0o644), os.WriteFile(filepath.Join(dir, "oats.jpg"), nil, 0o644)); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name, library string
		figures       []string
		drawn, kept   int
	}{
		{"the first run", "a", []string{"x", "y"}, 2, 2},
		{"nothing changed", "a", []string{"x", "y"}, 0, 2},
		{"one changed", "a", []string{"x", "z"}, 1, 2},
		{"another library", "b", []string{"x", "z"}, 2, 2},
		{"fewer", "b", []string{"z"}, 0, 1},
	} {
		drawn = 0
		run(c.library, c.figures...)
		if n := len(kept()); drawn != c.drawn || n != c.kept {
			t.Errorf("%s: got %d drawn and %d kept, want %d and %d", c.name, drawn, n, c.drawn, c.kept)
		}
	}
	if err := os.WriteFile(kept()[0], []byte("half a"), 0o644); err != nil {
		t.Fatal(err)
	}
	run("b", "z")
	for _, name := range []string{"photos/label.jpg", "oats.jpg"} {
		if _, err := os.Stat(filepath.Join(dir, name)); err != nil {
			t.Errorf("got %v, want what is not the cache's left alone", err)
		}
	}
	dir = filepath.Join(dir, "oats.jpg") // where no folder can be
	for range 2 {
		drawn = 0
		if run("b", "z"); drawn != 1 {
			t.Errorf("got %d drawn without a folder, want each time one", drawn)
		}
	}
	failed := errors.New("no")
	if _, err := newCache("", "a").get("x", func() (string, error) { return "", failed }); err != failed {
		t.Errorf("got %v, want the error of the drawing", err)
	}
}

var english = Words{Day: "day", Reach: "reach, days", ReachSlim: "reach", RanOut: "money ran out", RanOutSlim: "out on", Rank: "rank, cheapest 1",
	NoPrices: "no prices", Decimal: "."}

// TestMarks: the scales of drawings have the marks of the language, those of
// the chart library too.
func TestMarks(t *testing.T) {
	german := english
	german.Decimal, german.Thousands = ",", "."
	for _, c := range []struct{ text, want string }{{"1234567.50", "1.234.567,50"}, {"-1000", "-1.000"}, {"999.5", "999,5"}, {"0", "0"}} {
		if got := german.Figure(c.text); got != c.want {
			t.Errorf("%s: got %q, want %q", c.text, got, c.want)
		}
	}
	points := []Point{{Value: "1000.5"}, {Value: "1002"}}
	wide, _ := Panels(german, []Panel{{Title: "Tarn", Points: points}}, "Jan", "Feb", nil, nil)
	if !strings.Contains(wide.Inner, ">1.000,5<") {
		t.Errorf("got no 1.000,5 beside the panels, want it")
	}
	dir := os.Getenv("FARTHING_ASSETS")
	if dir == "" {
		t.Skip("no chart library: name its folder in FARTHING_ASSETS")
	}
	e, err := NewEngine(filepath.Join(dir, "echarts.min.js"), "")
	if err != nil {
		t.Fatal(err)
	}
	for words, want := range map[Words]string{german: ">1.000,5<", english: ">1,000.5<"} { // the library's own marks are English
		d, err := e.Draw(Lines{Words: words, Months: []string{"Jan", "Feb"}, Series: []Series{{Name: "basket", Points: points}}}, Wide, "x", nil)
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(d.Inner, want) {
			t.Errorf("got no %s beside the line, want it", want)
		}
	}
}
