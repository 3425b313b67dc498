// Package dashboards turns results into pages: it says each finding in a
// sentence, draws it, and repeats its numbers in a table. It reads no database
// and no clock, and computes nothing that is not a difference, a ratio or a
// sum of published numbers.
//
// Order of work: Write takes an edition and lists the pages; view gathers the
// rows of one combination; a kind's function makes a layout.Page of them;
// layout prints it. A further page is one more function and one line in kinds.
package dashboards

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"farthing/dashboards/catalogue"
	"farthing/dashboards/draw"
	"farthing/dashboards/layout"
	"farthing/pipeline/result"
)

// aspect is one thing that a combination names: its keys, and in words.
type aspect struct {
	name catalogue.Key
	keys func(c result.Combination) []string
	text func(s *site, c result.Combination) string
}

var (
	byAllowance = aspect{"Allowance", func(c result.Combination) []string { return []string{c.Programme, c.AmountKind} },
		func(s *site, c result.Combination) string { return s.allowanceName(c) }}
	byRegion = aspect{"Region", func(c result.Combination) []string { return []string{c.Region} },
		func(s *site, c result.Combination) string { return regionName(s.e, c.Region) }}
	byHousehold = aspect{"Household", func(c result.Combination) []string { return []string{c.Household} },
		func(s *site, c result.Combination) string { return clean(household(s.e, c.Household).Name) }}
	byBasket = aspect{"Basket", func(c result.Combination) []string { return []string{c.Basket} },
		func(_ *site, c result.Combination) string { return label(c.Basket) }}
)

// kind is a kind of page: its name in the running head, the word its files
// start with, the aspects by which its pages differ, and how one is made; file
// is the page's name without its ending. One without a name is not in the head.
type kind struct {
	name catalogue.Key
	word string
	by   []aspect
	page func(s *site, v *view, file string) (layout.Page, error)
}

// kinds are the kinds of page, in the order of the running head.
func kinds() []kind {
	return []kind{
		{"Reach", "reach", []aspect{byAllowance, byRegion, byHousehold, byBasket}, reachPage},
		{"Regions", "regions", []aspect{byBasket}, regionsPage},
		{"Basket", "basket", []aspect{byRegion, byHousehold, byBasket}, basketPage},
		{"What moved", "moved", []aspect{byRegion, byBasket}, movedPage},
		{"Meals", "meals", nil, mealsPage},
		{"Items", "items", nil, itemsPage},
		{"Grounds", "grounds", nil, groundsPage},
		sheet(),
	}
}

// sheet is the kind that a Reach page leads to.
func sheet() kind {
	return kind{"", "sheet", []aspect{byAllowance, byRegion, byHousehold, byBasket}, sheetPage}
}

// file is the name of the page about a combination, without its ending.
func (k kind) file(c result.Combination) string {
	parts := []string{k.word}
	for _, a := range k.by {
		parts = append(parts, a.keys(c)...)
	}
	return fileName(parts...)
}

// frontPage is the first kind of page of the first combination.
const frontPage = "index.html"

// site is what pages share while an edition is written; nothing of it changes then.
type site struct {
	tongue
	e       *result.Edition
	dir     string
	png     bool         // figures as pictures too
	engine  *draw.Engine // nil without a chart library
	publish []result.Combination
	goods   []good
	reach   map[result.Combination][]*result.Reach
	baskets map[result.Combination][]*result.Basket // without an allowance
	lines   map[place][]*result.BasketLine
	costs   map[place]result.Basket // of the first household of a place
	printer layout.Printer
	layout.Site
}

// job is one page to be made.
type job struct {
	file string
	page func() (layout.Page, error)
}

// workers make pages at once; what they write does not depend on their number.
const workers = 2

// Write writes the pages of an edition below dir, which must exist: index.html,
// one page of each kind for every combination of e.Publish, one for each item,
// each meal and each region's least-cost diets, the drawings as SVG files under figures/ (and as PNG, if png), the style sheet and the script.
// library is the chart library's file, which is copied beside them; without
// one ("") the large line figures are left to their tables, and the pages say so.
// What it draws is kept in the folder kept for the next run, unless that is "".
//
// Nothing outside dir and kept is written, whatever the names in e are. The same
// edition gives the same bytes.
func Write(dir string, e *result.Edition, lang *catalogue.Language, library, kept string, png bool) error {
	s := newSite(dir, e, lang)
	s.png = png
	if library != "" {
		var err error
		if s.engine, err = draw.NewEngine(library, kept); err != nil {
			return err
		}
		b, err := os.ReadFile(library)
		if err != nil {
			return fmt.Errorf("chart library: %w", err)
		}
		if err := s.write(layout.LibraryFile, b); err != nil {
			return err
		}
	}
	if err := s.write(layout.StyleFile, layout.Style); err != nil {
		return err
	}
	script, err := layout.Script(s.scriptWords())
	if err != nil {
		return err
	}
	if err := s.write(layout.ScriptFile, slices.Concat(draw.BandScript, script)); err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Join(dir, "figures"), 0o755); err != nil {
		return err
	}
	if len(s.publish) == 0 {
		return s.page(layout.Page{File: frontPage, Title: s.T("%s: nothing is published yet", clean(e.Name)),
			Headline: s.T("Nothing is published yet"),
			Lead:     []string{s.T("Name a programme, household, basket and region under [[publish]] in farthing.toml, then run again.")}})
	}
	jobs := s.jobs()
	next, errs := make(chan int), make([]error, len(jobs))
	var wg sync.WaitGroup
	for range workers {
		wg.Go(func() {
			for i := range next {
				errs[i] = s.make(jobs[i], i == 0)
			}
		})
	}
	for i := range jobs {
		next <- i
	}
	close(next)
	wg.Wait()
	for i, err := range errs {
		if err != nil {
			return fmt.Errorf("%s.html: %w", jobs[i].file, err)
		}
	}
	if s.engine != nil {
		s.engine.Sweep()
	}
	return nil
}

func newSite(dir string, e *result.Edition, lang *catalogue.Language) *site {
	s := &site{tongue: tongue{lang}, e: e, dir: dir, goods: goodsOf(e), reach: map[result.Combination][]*result.Reach{}, baskets: map[result.Combination][]*result.Basket{},
		lines: map[place][]*result.BasketLine{}, costs: map[place]result.Basket{}}
	s.printer = layout.NewPrinter(layout.Words{Lang: lang.Tag, Say: func(text string, args ...any) string { return s.T(catalogue.Key(text), args...) }})
	seen := map[result.Combination]bool{}
	for _, c := range e.Publish {
		if !seen[c] {
			seen[c] = true
			s.publish = append(s.publish, c)
		}
	}
	for i := range e.Lines {
		l := &e.Lines[i]
		at := place{l.Region, l.Basket, l.Month}
		s.lines[at] = append(s.lines[at], l)
	}
	for i := range e.Reach {
		r := &e.Reach[i]
		of := result.Combination{Programme: r.Programme, AmountKind: r.AmountKind, Region: r.Region, Household: r.Household, Basket: r.Basket}
		s.reach[of] = append(s.reach[of], r)
	}
	for i := range e.Baskets {
		b := &e.Baskets[i]
		of := result.Combination{Region: b.Region, Household: b.Household, Basket: b.Basket}
		s.baskets[of] = append(s.baskets[of], b)
		at := place{b.Region, b.Basket, b.Month}
		if _, ok := s.costs[at]; !ok {
			s.costs[at] = *b
		}
	}
	s.Site = layout.Site{Name: clean(e.Name), Invented: e.Invented, Foot: s.foot(e, len(s.publish) > 0)}
	return s
}

// jobs are the pages of an edition, the front page first.
func (s *site) jobs() []job {
	var jobs []job
	done := map[string]bool{}
	for _, c := range s.publish {
		for _, k := range kinds() {
			file := k.file(c)
			if done[file] {
				continue
			}
			done[file] = true
			jobs = append(jobs, job{file, func() (layout.Page, error) {
				p, err := k.page(s, newView(s, c), file)
				p.Nav, p.Choices = s.nav(k.name, c), s.choices(k, c)
				return p, err
			}})
		}
	}
	for i := range s.goods {
		jobs = append(jobs, job{s.goods[i].file(), func() (layout.Page, error) { return s.itemPage(&s.goods[i]) }})
	}
	for _, sh := range s.e.Shoppings {
		jobs = append(jobs, job{mealFile(sh.Shopping), func() (layout.Page, error) { return s.mealPage(sh) }})
	}
	for _, region := range s.dietRegions() {
		jobs = append(jobs, job{dietFile(region), func() (layout.Page, error) { return s.dietPage(region) }})
	}
	return jobs
}

// make makes one page; the first is the front page too.
func (s *site) make(j job, first bool) error {
	p, err := j.page()
	if err != nil {
		return err
	}
	p.File = j.file + ".html"
	if err := s.page(p); err != nil || !first {
		return err
	}
	p.File = frontPage
	return s.page(p)
}

func (s *site) write(name string, b []byte) error {
	return os.WriteFile(filepath.Join(s.dir, name), b, 0o644)
}

func (s *site) page(p layout.Page) error {
	var b bytes.Buffer
	if err := s.printer.Write(&b, s.Site, p); err != nil {
		return fmt.Errorf("%s: %w", p.File, err)
	}
	return s.write(p.File, b.Bytes())
}

// href is the page of a kind for a combination, as a link.
func (s *site) href(k kind, c result.Combination) string {
	if k.name == kinds()[0].name && c == s.publish[0] {
		return frontPage
	}
	return k.file(c) + ".html"
}

func (s *site) nav(here catalogue.Key, c result.Combination) []layout.Link {
	var links []layout.Link
	for _, k := range kinds() {
		if k.name == "" {
			continue
		}
		links = append(links, layout.Link{Text: s.T(k.name), Href: s.href(k, c), Current: k.name == here})
	}
	return links
}

// choices are links to the other regions, households, baskets and allowances
// of a kind's pages: for each, the published combination that differs from c
// in least else.
func (s *site) choices(k kind, c result.Combination) []layout.Choice {
	key := func(a aspect, c result.Combination) string { return strings.Join(a.keys(c), "\x00") }
	likeness := func(o result.Combination) (n int) {
		for _, a := range k.by {
			if key(a, o) == key(a, c) {
				n++
			}
		}
		return n
	}
	var choices []layout.Choice
	for _, a := range k.by {
		best := map[string]result.Combination{}
		var order []string
		for _, o := range s.publish {
			if old, ok := best[key(a, o)]; !ok {
				order = append(order, key(a, o))
				best[key(a, o)] = o
			} else if likeness(o) > likeness(old) {
				best[key(a, o)] = o
			}
		}
		if len(order) < 2 {
			continue
		}
		choice := layout.Choice{Name: s.T(a.name)}
		for _, o := range order {
			choice.Links = append(choice.Links, layout.Link{Text: a.text(s, best[o]), Href: s.href(k, best[o]), Current: o == key(a, c)})
		}
		choices = append(choices, choice)
	}
	return choices
}

// drawn gives a drawing its place in a part at both widths.
func (s *site) drawn(p *layout.Part, file string, wide, slim draw.Drawing, words string, data ...string) error {
	return s.figure(p, file, wide, []layout.Plot{plot("wide", wide, words, nil), plot("slim", slim, words, nil)}, data...)
}

// lowest is how high a drawing is, in px, beside which a few notes do not look lost.
const lowest = 150

// figure writes a drawing as a file and gives it its place in a part, with the
// downloads beside it.
func (s *site) figure(p *layout.Part, file string, d draw.Drawing, plots []layout.Plot, data ...string) error {
	name := "figures/" + file + "." + p.ID
	svg := d.File(p.Headline, p.Subtitle, slices.Concat(p.Foot, s.fileNotes())...)
	p.Low = d.Height < lowest
	p.Plots, p.Links = plots, []layout.Link{{Text: "SVG", Href: name + ".svg"}}
	p.Source = "" // the drawing carries it
	if err := s.write(filepath.FromSlash(name+".svg"), svg); err != nil {
		return err
	}
	if s.png {
		switch picture, err := draw.PNG(svg); {
		case errors.Is(err, draw.ErrLetters), errors.Is(err, draw.ErrTall): // its SVG is there
		case err != nil:
			return err
		default:
			p.Links = append(p.Links, layout.Link{Text: "PNG", Href: name + ".png"})
			if err := s.write(filepath.FromSlash(name+".png"), picture); err != nil {
				return err
			}
		}
	}
	p.Links = append(p.Links, dataLinks(data...)...)
	return nil
}

// fileNotes are what a drawing needs beyond its own words when it leaves its
// page: day, number of prices, sources with their licences, and the cautions.
func (s *site) fileNotes() []string {
	e := s.e
	var from []string
	sums := sourcesOf(e)
	for _, f := range sums[:min(len(sums), maxSources)] {
		from = append(from, label(f.Source.Source)+" ("+s.sourceWords(f)+")")
	}
	sources := strings.Join(from, "; ")
	if more := len(sums) - len(from); more > 0 {
		sources += s.T("; and %d more", more)
	}
	notes := []string{s.T("Edition %s, as of %s. Of %s accepted, %d stand behind a published price.", e.Hash, s.dateText(e.AsOf), s.Count(e.Accepted, "one price", "%s prices"), e.Counted)}
	if from != nil {
		notes = append(notes, s.T("Sources: %s.", sources))
	}
	notes = append(notes, s.T("The basket is a yardstick: it is not a diet, and not what anybody eats."))
	if e.Caution != "" {
		notes = append(notes, clean(e.Caution))
	}
	return notes
}

// maxSources is how many sources a drawing names.
const maxSources = 5

func dataLinks(data ...string) []layout.Link {
	var links []layout.Link
	for _, d := range data {
		links = append(links, layout.Link{Text: d, Href: "data/" + d})
	}
	return links
}

// fileName joins parts to a name that is the parts' own: different parts never
// share a name, and none can leave its folder. Letters a to z and digits stand
// for themselves, "_" introduces what does not ("_-", "__", else two hex
// digits a byte), "-" joins. A name that is too long ends in its hash.
func fileName(parts ...string) string {
	var b strings.Builder
	for i, p := range parts {
		if i > 0 {
			b.WriteByte('-')
		}
		for _, c := range []byte(p) {
			switch {
			case c >= 'a' && c <= 'z', c >= '0' && c <= '9':
				b.WriteByte(c)
			case c == '-', c == '_':
				b.WriteByte('_')
				b.WriteByte(c)
			default:
				fmt.Fprintf(&b, "_%02x", c)
			}
		}
	}
	name := b.String()
	if len(name) > 180 {
		h := sha256.Sum256([]byte(name))
		name = name[:120] + "-_h" + hex.EncodeToString(h[:16])
	}
	return name
}
