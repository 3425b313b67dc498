// Package layout turns a page of sentences, drawings and tables into HTML. It
// knows nothing of prices: what stands in a Page is printed as it is, escaped.
//
// Every page works from a file, without network and without script, under a
// content security policy that allows no inline style or script.
package layout

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"html/template"
	"io"
	"regexp"
)

var (
	//go:embed page.html
	pageHTML string
	// Style is the style sheet every page refers to.
	//go:embed style.css
	Style []byte
	//go:embed farthing.js
	script []byte
)

// Script is the script every page refers to, with its words in it: the fields
// are those of say in the script.
func Script(words any) ([]byte, error) {
	b, err := json.Marshal(words)
	return bytes.Replace(script, []byte("var say = {};"), []byte("var say = "+string(b)+";"), 1), err
}

// The names of the files beside the pages.
const (
	StyleFile   = "style.css"
	ScriptFile  = "farthing.js"
	LibraryFile = "echarts.min.js"
)

// Link is a word that leads to a file of the site.
type Link struct {
	Text, Href string
	Current    bool
}

// Choice is one thing a reader may choose by links, such as the region.
type Choice struct {
	Name  string
	Links []Link
}

// Site is what all pages of an edition share.
type Site struct {
	Name     string
	Invented bool
	Foot     []Part // about the edition, at the foot of each page
}

// Page is one page: a headline that states the finding and the parts that prove it.
type Page struct {
	File     string
	Title    string
	About    string // whom and where the page is about
	Headline string // ends in Strong, the word that matters most
	Strong   string
	Lead     []string
	Caution  string // what must be known before the figures are
	See      []Link // another form of the page
	Sheet    bool   // fits one sheet of paper; it has a citation of its own
	Nav      []Link
	Choices  []Choice
	Parts    []Part
}

// Part is a figure or a piece of text. All but ID and Headline may be empty.
type Part struct {
	ID       string // unique in the page
	Headline string // the finding with its numbers
	Subtitle string // what is drawn
	Key      []Mark
	Plots    []Plot // the same drawing for each width
	Text     []string
	Steps    []string // numbered lines
	Terms    [][2]string
	Warnings []Note // each a doubt and its cure
	Table    *Table
	Open     bool // the table is shown without a click, because nothing else has its numbers
	Notes    []Note
	Foot     []string // footnotes
	Source   string
	Links    []Link // downloads
	See      []Link // pages that say more
	Folded   bool   // shown after a click
	Low      bool   // the drawing is so low that notes beside it would reach far below
}

// Mark is one entry of a key.
type Mark struct {
	SVG  template.HTML
	Text string
}

// Plot is a drawing at one width. With an Option the chart library can draw it
// again, so that it answers to the pointer.
type Plot struct {
	Class  string // "wide" or "slim"
	SVG    template.HTML
	Option template.JS // JSON, or empty
}

// Note is a remark; its head stands in bold.
type Note struct {
	Head, Text     string
	Lang, TextLang string // where they are in another language than the page
}

// Table repeats a figure's numbers. The first cell of a row is its header.
type Table struct {
	Caption string
	Head    []Column
	Rows    []Row
	Broad   bool // as wide as the sheet
}

// Column is a column's heading; Words holds text rather than numbers.
type Column struct {
	Text  string
	Words bool
}

// Row is a line of a table.
type Row struct {
	Cells []Cell
	Sum   bool   // a total
	Now   bool   // the row the page speaks of
	Month string // the month that the row is of, or the first of them
	Spans int    // months that the row stands for, where more than one
}

// Cell is a cell; Missing says in words, across Span columns, why there is no number.
type Cell struct {
	Text    string
	Href    string // where its words lead, if anywhere
	Span    int
	Missing bool
	Words   bool
	Lang    string // where it is in another language than the page
}

// Live says whether a plot of the page can be drawn by the chart library.
func (p Page) Live() bool {
	for _, part := range p.Parts {
		for _, plot := range part.Plots {
			if plot.Option != "" {
				return true
			}
		}
	}
	return false
}

// Words are the language of the pages: its tag, and how a text of the template is said in it.
type Words struct {
	Lang string
	Say  func(text string, args ...any) string
}

// Printer writes the pages of a language.
type Printer struct{ page *template.Template }

// NewPrinter reads the template for a language.
func NewPrinter(words Words) Printer {
	funcs := template.FuncMap{"t": words.Say, "lang": func() string { return words.Lang }}
	return Printer{template.Must(template.New("page").Funcs(funcs).Parse(pageHTML))}
}

// Texts are the texts of the template, as it asks for them.
func Texts() (list []string) {
	for _, m := range asked.FindAllStringSubmatch(pageHTML, -1) {
		list = append(list, m[1])
	}
	return list
}

var asked = regexp.MustCompile(`\{\{t "([^"]*)"`)

// Write writes a page.
func (p Printer) Write(w io.Writer, s Site, page Page) error {
	return p.page.Execute(w, struct {
		Site
		Page
	}{s, page})
}
