// Package dashboards turns results into pages: it says each finding in a
// sentence, draws it, and repeats its numbers in a table. It reads no database
// and no clock, and computes nothing that is not a difference or a ratio of
// two published numbers.
//
// Order of work: Write takes an edition; view gathers the rows of one
// combination; reach and basket make a layout.Page of them; layout prints it.
// A further page is one more function from a view to a Page, and one line in
// kinds.
package dashboards

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"farthing/dashboards/draw"
	"farthing/dashboards/layout"
	"farthing/pipeline/result"
)

// kind is a kind of page: its name in the running head, the parts of its file
// name, and how it is made; file is that name without its ending.
type kind struct {
	name string
	key  func(result.Combination) []string
	page func(s *site, v *view, file string) (layout.Page, error)
}

// kinds are the kinds of page, in the order of the running head.
func kinds() []kind {
	return []kind{
		{"Reach", func(c result.Combination) []string {
			return []string{"reach", c.Programme, c.AmountKind, c.Region, c.Household, c.Basket}
		}, reachPage},
		{"Basket", func(c result.Combination) []string {
			return []string{"basket", c.Region, c.Household, c.Basket}
		}, basketPage},
	}
}

// frontPage is the first kind of page of the first combination.
const frontPage = "index.html"

// site is what pages share while an edition is written.
type site struct {
	e       *result.Edition
	dir     string
	engine  *draw.Engine // nil without a chart library
	publish []result.Combination
	layout.Site
}

// Write writes the pages of an edition below dir, which must exist: index.html,
// one page of each kind for every combination of e.Publish, the drawings as
// SVG files under figures/, the style sheet and the script. library is the
// chart library's file, which is copied beside them; without one ("") the line
// figures are left to their tables, and the pages say so.
//
// Nothing outside dir is written, whatever the names in e are. The same
// edition gives the same bytes.
func Write(dir string, e *result.Edition, library string) error {
	s := &site{e: e, dir: dir}
	seen := map[result.Combination]bool{}
	for _, c := range e.Publish {
		if !seen[c] {
			seen[c] = true
			s.publish = append(s.publish, c)
		}
	}
	if library != "" {
		var err error
		if s.engine, err = draw.NewEngine(library); err != nil {
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
	if err := s.write(layout.ScriptFile, layout.Script); err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Join(dir, "figures"), 0o755); err != nil {
		return err
	}
	s.Site = layout.Site{Name: clean(e.Name), Invented: e.Invented, Foot: foot(e)}
	if len(s.publish) == 0 {
		return s.page(layout.Page{File: frontPage, Title: clean(e.Name) + ": nothing is published yet",
			Headline: "Nothing is published yet",
			Lead:     []string{"Name a programme, household, basket and region under [[publish]] in farthing.toml, then run again."}})
	}
	done := map[string]bool{}
	for _, c := range s.publish {
		v := newView(e, c)
		for _, k := range kinds() {
			name := fileName(k.key(c)...)
			file := name + ".html"
			if done[file] {
				continue
			}
			done[file] = true
			p, err := k.page(s, v, name)
			if err != nil {
				return fmt.Errorf("%s: %w", file, err)
			}
			p.File, p.About, p.Nav, p.Choices = file, v.about(), s.nav(k, c), s.choices(k, c)
			if err := s.page(p); err != nil {
				return err
			}
			if len(done) == 1 {
				p.File = frontPage
				if err := s.page(p); err != nil {
					return err
				}
			}
		}
	}
	return nil
}

func (s *site) write(name string, b []byte) error {
	return os.WriteFile(filepath.Join(s.dir, name), b, 0o644)
}

func (s *site) page(p layout.Page) error {
	var b bytes.Buffer
	if err := layout.Write(&b, s.Site, p); err != nil {
		return fmt.Errorf("%s: %w", p.File, err)
	}
	return s.write(p.File, b.Bytes())
}

// href is the page of a kind for a combination, as a link.
func (s *site) href(k kind, c result.Combination) string {
	if k.name == kinds()[0].name && c == s.publish[0] {
		return frontPage
	}
	return fileName(k.key(c)...) + ".html"
}

func (s *site) nav(here kind, c result.Combination) []layout.Link {
	var links []layout.Link
	for _, k := range kinds() {
		links = append(links, layout.Link{Text: k.name, Href: s.href(k, c), Current: k.name == here.name})
	}
	return links
}

// choices are links to the other regions, households, baskets and allowances:
// for each, the published combination that differs from c in least else.
func (s *site) choices(k kind, c result.Combination) []layout.Choice {
	parts := []struct {
		name string
		of   func(result.Combination) (key, text string)
	}{
		{"Region", func(c result.Combination) (string, string) { return c.Region, regionName(s.e, c.Region) }},
		{"Household", func(c result.Combination) (string, string) {
			return c.Household, clean(household(s.e, c.Household).Name)
		}},
		{"Basket", func(c result.Combination) (string, string) { return c.Basket, label(c.Basket) }},
		{"Allowance", func(c result.Combination) (string, string) {
			return c.Programme + "\x00" + c.AmountKind, allowanceName(c)
		}},
	}
	likeness := func(o result.Combination) (n int) {
		for _, p := range parts {
			a, _ := p.of(c)
			if b, _ := p.of(o); a == b {
				n++
			}
		}
		return n
	}
	var choices []layout.Choice
	for _, p := range parts {
		best := map[string]result.Combination{}
		var order []string
		for _, o := range s.publish {
			key, _ := p.of(o)
			if old, ok := best[key]; !ok {
				order = append(order, key)
				best[key] = o
			} else if likeness(o) > likeness(old) {
				best[key] = o
			}
		}
		if len(order) < 2 {
			continue
		}
		choice := layout.Choice{Name: p.name}
		here, _ := p.of(c)
		for _, key := range order {
			_, text := p.of(best[key])
			choice.Links = append(choice.Links, layout.Link{Text: text, Href: s.href(k, best[key]), Current: key == here})
		}
		choices = append(choices, choice)
	}
	return choices
}

// figure writes a drawing as a file and gives it its place in a part, with the
// downloads beside it.
func (s *site) figure(p *layout.Part, file string, d draw.Drawing, plots []layout.Plot, data ...string) error {
	name := "figures/" + file + "." + p.ID + ".svg"
	p.Plots = plots
	p.Links = append([]layout.Link{{Text: "SVG", Href: name}}, dataLinks(data...)...)
	return s.write(filepath.FromSlash(name), d.File(p.Headline, p.Subtitle))
}

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
