package intake

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
	"unicode"

	"farthing/pipeline/quantity"
	"farthing/pipeline/result"
	"farthing/pipeline/workspace"

	"github.com/apache/arrow/go/v17/arrow/array"
)

// Preview is how a file would be read. Nothing of the file is kept.
type Preview struct {
	Schema      string          `json:"schema"`
	Path        string          `json:"path"`
	Source      string          `json:"source"`
	Why         string          `json:"why"` // that source
	Gives       string          `json:"gives"`
	Layout      string          `json:"layout"`
	HeaderLine  int             `json:"header_line"`
	Header      []string        `json:"header"`
	Columns     []PreviewColumn `json:"columns"`
	Values      []string        `json:"values"` // headers of the columns of values, of a wide file
	Dates       []string        `json:"dates"`  // first and last as understood
	Units       []PreviewUnit   `json:"units"`
	Rows        []PreviewRow    `json:"rows"` // the first as understood
	Counts      FileReport      `json:"counts"`
	Unmapped    []Unmapped      `json:"unmapped"`
	Profile     string          `json:"profile"`      // a [[source]] for farthing.toml
	ProfileFile string          `json:"profile_file"` // where it was written, "" if it was not
}

// PreviewColumn says what fills one of our columns.
type PreviewColumn struct {
	Column string `json:"column"`
	From   string `json:"from"`
}

// PreviewUnit is a pack as written and as understood.
type PreviewUnit struct {
	AsRead string `json:"as_read"`
	Means  string `json:"means"`
}

// PreviewRow is an observation as understood.
type PreviewRow struct {
	Line  int               `json:"line"`
	Cells map[string]string `json:"cells"`
}

// Unmapped is a name that means nothing here yet, and the line for tables/aliases that would say what.
type Unmapped struct {
	Kind  string `json:"kind"`
	Name  string `json:"name"`
	Rows  int    `json:"rows"`
	Alias string `json:"alias"`
}

const previewRows, previewUnits = 5, 12

// PreviewFile reads a file as import would, by the source that its name
// belongs to, else by a guess. It stores nothing; the profile is written beside
// farthing.toml for a person to correct, unless a file of that name is there.
func PreviewFile(ctx context.Context, w *workspace.Workspace, tables *workspace.Tables, file string) (*Preview, error) {
	if read := notReadable(file); read != "" {
		return nil, &workspace.InputError{Code: "no_file", File: file, Read: read, Instead: "name a file that can be read"}
	}
	archived, err := Archived(w)
	if err != nil {
		return nil, err
	}
	d := &dryRun{}
	r := newReader(w, tables, d, archived)
	name := safeName(filepath.Base(file))
	src, claims, err := r.sourceOf(w, file, archived)
	if err != nil {
		return nil, err
	}
	p := &Preview{Schema: "farthing.preview/1", Path: file, Columns: []PreviewColumn{}, Values: []string{}, Dates: []string{}, Units: []PreviewUnit{},
		Rows: []PreviewRow{}, Unmapped: []Unmapped{}, Header: []string{}, Why: fmt.Sprintf("its files pattern matches %q", name)}
	if len(claims) > 0 {
		p.Why = "it is a sheet of rows set aside that this source gave"
	} else if src.Gives == "notes" {
		p.Why = "no [[source]] is for files of this name, and it has the columns of price notes"
		is, err := isNotes(file)
		var bad *unreadable
		if err != nil && !errors.As(err, &bad) {
			return nil, err
		}
		if err == nil && !is {
			g, err := guess(file, r)
			if err != nil {
				return nil, err
			}
			src = g.src
			p.Why = "no [[source]] is for files of this name: this one is a guess, for you to correct"
			for _, a := range g.advice {
				p.Profile += "# " + a + "\n"
			}
			p.Profile += Block(src)
			r.settings.Sources = append(slices.Clone(r.settings.Sources), src)
		}
	} else {
		p.Profile = Block(src)
	}
	p.Source, p.Gives = src.Name, src.Gives
	r.vocab.word("")
	o, err := r.read(ctx, file, src, 0)
	if err != nil {
		return nil, err
	}
	p.Counts = FileReport{Path: file, Source: src.Name, Read: o.read, Quarantined: len(o.aside), Duplicate: d.repeats,
		Accepted: o.read - len(o.aside) - d.repeats, Reasons: reasons(o.aside)}
	d.show(p, r.vocab)
	return p, errors.Join(p.look(r, file, src), p.write(w))
}

// isNotes says whether a file has the header of price notes.
func isNotes(file string) (bool, error) {
	u, err := Unpack(file, workspace.Source{})
	if err != nil {
		return false, err
	}
	defer u.Close()
	t, err := openText(u.Reader)
	if err != nil {
		return false, err
	}
	known := 0
	for _, h := range t.header {
		if slices.Contains(columnNames[:], h) {
			known++
		}
	}
	return known > len(t.header)/2, nil
}

// look tells what the profile finds in the file's header, and the names that mean nothing here.
func (p *Preview) look(r *reader, file string, src workspace.Source) error {
	u, err := Unpack(file, src)
	var bad *unreadable
	if errors.As(err, &bad) {
		return nil // the counts tell
	}
	if err != nil {
		return err
	}
	defer u.Close()
	t, refused, err := openLayout(u.Reader, src)
	if err != nil || refused != nil {
		return err
	}
	t.day0 = u.day0
	p.HeaderLine, p.Header, p.Layout = t.lines-src.SkipRows, append(p.Header, t.header...), "long"
	if src.Gives == "notes" {
		return nil
	}
	s, _, err := r.compile(src, t)
	if err != nil || s == nil {
		return err
	}
	p.layout(s, t)
	return p.names(r, s, t)
}

// layout tells what fills our columns.
func (p *Preview) layout(s *shape, t *text) {
	for i, name := range workspace.SourceColumns {
		from := s.src.Names(name)
		switch {
		case i == s.across:
			from = []string{"the headers of the columns of values"}
		case i == price && s.values != nil:
			from = []string{"the columns of values"}
		case len(from) > 0:
		case s.refs[i] != nil:
			from = []string{"its catalogue"}
		case s.fixed[i] != nil:
			from = []string{fmt.Sprintf("always %q", s.fixed[i])}
		default:
			continue
		}
		p.Columns = append(p.Columns, PreviewColumn{name, strings.Join(from, " and ")})
	}
	if s.across >= 0 {
		p.Layout = "wide"
		if s.across == seriesID {
			p.Layout = "series"
		}
		for _, i := range s.values {
			p.Values = append(p.Values, t.header[i])
		}
	}
}

// dryRun takes rows in place of the database.
type dryRun struct {
	first   []dryRow
	seen    map[[2]int64]bool
	repeats int
	days    []time.Time
	other   [][]any
	table   string
}

type dryRow struct {
	place int
	words [10]int32 // columns 6 to 14 of obs_price
	day   time.Time
	micro int64
}

func (d *dryRun) Append(_ context.Context, table string, rows [][]any) error {
	d.table, d.other = table, append(d.other, rows...)
	return nil
}

func (d *dryRun) AppendArrow(_ context.Context, _ string, records array.RecordReader) error {
	d.seen = map[[2]int64]bool{}
	for records.Next() {
		rec := records.Record()
		line := rec.Column(1).(*array.Int32)
		key := rec.Column(2).(*array.Uint64)
		day := rec.Column(4).(*array.Date32)
		micro := rec.Column(15).(*array.Int64)
		for i := range int(rec.NumRows()) {
			row := dryRow{place: int(line.Value(i)), day: day.Value(i).ToTime(), micro: -1}
			if !micro.IsNull(i) {
				row.micro = micro.Value(i)
			}
			k := [2]int64{int64(key.Value(i)), row.micro}
			if d.seen[k] {
				d.repeats++
				continue
			}
			d.seen[k] = true
			if len(d.days) == 0 {
				d.days = []time.Time{row.day, row.day}
			}
			if row.day.Before(d.days[0]) {
				d.days[0] = row.day
			}
			if row.day.After(d.days[1]) {
				d.days[1] = row.day
			}
			for c := range 9 {
				row.words[c] = rec.Column(6 + c).(*array.Int32).Value(i)
			}
			at, _ := slices.BinarySearchFunc(d.first, row, func(a, b dryRow) int {
				return cmp.Or(result.LineOf(a.place)-result.LineOf(b.place), b.place-a.place)
			})
			if at < previewRows {
				d.first = slices.Insert(d.first, at, row)
				d.first = d.first[:min(len(d.first), previewRows)]
			}
		}
	}
	return records.Err()
}

// show puts what was understood into the preview.
func (d *dryRun) show(p *Preview, v *vocabulary) {
	packs := map[int32]bought{}
	for _, b := range v.newPack {
		packs[b.id] = b
		if len(p.Units) < previewUnits && b.asRead != "" {
			p.Units = append(p.Units, PreviewUnit{b.asRead, meaning(b)})
		}
	}
	if len(d.days) > 0 {
		p.Dates = []string{d.days[0].Format("2006-01-02"), d.days[1].Format("2006-01-02")}
	}
	for _, row := range d.first {
		cells := map[string]string{"observed_on": row.day.Format("2006-01-02")}
		for i, name := range []string{"region", "outlet", "item", "variety", "grade", "gtin", "pack", "price_type", "series"} {
			if s := v.newWord[row.words[i]]; name != "pack" && s != "" {
				cells[name] = s
			} else if name == "pack" {
				cells[name] = meaning(packs[row.words[i]])
			}
		}
		if row.micro >= 0 {
			cells["price"] = string(quantity.AppendMicro(nil, row.micro))
		}
		p.Rows = append(p.Rows, PreviewRow{result.LineOf(row.place), cells})
	}
	names := map[string][]string{
		"obs_index":     {"", "", "index", "region", "month", "index_value", "base_period", "adjustment"},
		"obs_allowance": {"", "", "programme", "region", "persons", "amount_kind", "effective_from", "effective_to", "amount_lcu", "currency", "source"},
	}[d.table]
	var first, last string
	for i, row := range d.other {
		cells := map[string]string{}
		for c, v := range row {
			switch v := v.(type) {
			case time.Time:
				cells[names[c]] = v.Format("2006-01-02")
			case nil:
			default:
				if names[c] == "month" {
					cells["month"] = result.Month(v.(int32)).String()
				} else if names[c] != "" {
					cells[names[c]] = fmt.Sprint(v)
				}
			}
		}
		when := cells["month"] + cells["effective_from"]
		if i == 0 || when < first {
			first = when
		}
		last = max(last, when)
		if i < previewRows {
			p.Rows = append(p.Rows, PreviewRow{int(row[1].(int32)), cells})
		}
		p.Dates = []string{first, last}
	}
}

func meaning(b bought) string {
	if b.quantity > 0 {
		return fmt.Sprintf("%.6g %s", b.quantity, b.baseUnit)
	}
	return b.pack
}

// names lists all names that mean nothing here, also where a row has several,
// the most frequent first. Where no row is understood it shows the first as read.
func (p *Preview) names(r *reader, s *shape, t *text) error {
	type name struct {
		kind int
		read string
	}
	count := map[name]int{}
	var order []name
	w, show := &walker{shape: s}, len(p.Rows) == 0
	if err := t.each(func(rec *record) {
		w.row(rec, func(place int, _ []byte, c *cells, bad *fault) {
			if show && len(p.Rows) < previewRows {
				row := PreviewRow{result.LineOf(place), map[string]string{}}
				if bad != nil {
					for i, b := range rec.fields[:min(len(rec.fields), len(t.header))] {
						row.Cells[t.header[i]] = string(b)
					}
				} else {
					for i, b := range c {
						if len(b) > 0 {
							row.Cells[workspace.SourceColumns[i]] = string(b)
						}
					}
				}
				p.Rows = append(p.Rows, row)
			}
			if bad != nil {
				return
			}
			for _, kind := range []int{region, outlet, item, pack} {
				if k := (name{kind, string(c[kind])}); k.read != "" {
					if count[k]++; count[k] == 1 {
						order = append(order, k)
					}
				}
			}
		})
	}); err != nil {
		return err
	}
	for _, k := range order {
		kind, known, ours := workspace.SourceColumns[k.kind], true, []string(nil)
		switch k.kind {
		case region:
			known, ours = r.regions[k.read] != nil, r.regionNames
		case item:
			known, ours = r.items[k.read] != nil, r.itemNames
		case outlet:
			known, ours = r.outlets == nil || r.outlets[k.read] != nil, r.outletNames
		case pack:
			kind = "unit"
			m := map[string]quantity.Amount{}
			for _, x := range r.measures {
				m[strings.ToLower(x.Measure)] = quantity.New(x.Quantity, quantity.Mass)
			}
			_, err := quantity.ParsePack(k.read, quantity.Options{Comma: s.src.Decimal == ",", Imperial: s.src.Imperial, Measures: m})
			known = err == nil || !errors.Is(err, quantity.ErrUnit)
		}
		if known || r.alias(s.src.Name, kind, k.read) != nil {
			continue
		}
		means := nearestByWords(k.read, ours)
		if means == "" {
			means = "…"
		}
		p.Unmapped = append(p.Unmapped, Unmapped{kind, k.read, count[k], fmt.Sprintf("%s,%s,%s,%s,,,", csvCell(s.src.Name), kind, csvCell(k.read), means)})
	}
	slices.SortStableFunc(p.Unmapped, func(a, b Unmapped) int { return b.Rows - a.Rows })
	return nil
}

// nearestByWords is the name of ours that shares the most words with a name,
// and at least half of its own, or "".
func nearestByWords(name string, ours []string) string {
	words := func(s string) []string {
		list := strings.FieldsFunc(strings.ToLower(s), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
		for i, w := range list {
			list[i] = strings.TrimSuffix(w, "s")
		}
		return list
	}
	have := words(name)
	best, most := "", 0.0
	for _, n := range ours {
		own := words(n)
		shared := 0
		for _, w := range own {
			if slices.Contains(have, w) {
				shared++
			}
		}
		if score := float64(shared) + float64(shared)/float64(len(own)+len(have)+1); shared*2 >= len(own) && shared > 0 && score > most {
			best, most = n, score
		}
	}
	if best == "" {
		best = workspace.Nearest(name, ours)
	}
	return best
}

// write puts the profile beside the settings, unless a file of that name holds another.
func (p *Preview) write(w *workspace.Workspace) error {
	if p.Profile == "" {
		return nil
	}
	path := filepath.Join(w.Dir, "source-"+safeName(p.Source)+".toml")
	switch old, err := os.ReadFile(path); {
	case err == nil && string(old) != p.Profile:
		return nil
	case err != nil && !errors.Is(err, fs.ErrNotExist):
		return err
	}
	p.ProfileFile = path
	return workspace.WriteFile(path, []byte(p.Profile))
}
