package intake

import (
	"bytes"
	"fmt"
	"maps"
	"path"
	"slices"
	"strings"

	"farthing/pipeline/result"
	"farthing/pipeline/workspace"
)

// The columns of ours beyond those of a price note, in the order of workspace.SourceColumns.
const (
	seriesID = nColumns + iota
	indexName
	basePeriod
	adjustment
	programme
	amountKind
	persons
	effectiveFrom
	effectiveTo
	toldBy
	nCells
)

// cells are one observation's texts by our column, whatever the source gives.
type cells [nCells][]byte

// fields are the cells of a price.
func (c *cells) fields() *fields { return (*fields)(c[:nColumns]) }

func ourColumn(name string) int { return slices.Index(workspace.SourceColumns, name) }

// ref says where a text stands in a flat row: at a place, or in the column
// that a cell completes the name of.
type ref struct {
	at             int
	before, behind string
	completed      bool
}

// rule leaves rows out by the cell of a column.
type rule struct {
	at   int
	list map[string]bool
	keep bool
	text string
}

// lookup adds a catalogue's columns to the flat row, from a place on.
type lookup struct {
	by   int
	name string // of the column
	cat  *catalogue
	src  string
}

// shape is a profile held against the header of a file. A flat row is the
// header of a value column, the file's cells, and the cells of each lookup.
type shape struct {
	src       workspace.Source
	delimiter string
	header    [][]byte
	names     map[string]int // places in the flat row
	lookups   []lookup
	refs      [nCells][]ref
	used      []int
	fixed     [nCells][]byte
	words     [nCells]map[string][]byte
	values    []int // columns of values; nil: one observation a row
	across    int   // our column that their headers hold
	rules     []rule
	only      []rule
	inline    map[string]*workspace.Series
}

// layoutOf is the layout of a profile, found where it is not declared.
func layoutOf(src workspace.Source) string {
	switch {
	case src.Layout != "":
		return src.Layout
	case src.Columns["price"] == nil && src.Fixed["price"] == "" && src.Gives != "allowances" && src.Gives != "catalogue":
		return "series"
	}
	return "long"
}

// compile holds the profile of a source against the header of one of its files.
func (r *reader) compile(src workspace.Source, t *text) (*shape, *fault, error) {
	s := &shape{src: src, delimiter: string(t.delimiter), names: map[string]int{}, across: -1, inline: map[string]*workspace.Series{}}
	for i, h := range t.header {
		s.header = append(s.header, []byte(h))
		if _, ok := s.names[h]; !ok && h != "" {
			s.names[h] = 1 + i
		}
	}
	layout := layoutOf(src)
	if layout == "series" {
		if src.Columns["observed_on"] == nil {
			src.Columns = maps.Clone(src.Columns)
			if src.Columns == nil {
				src.Columns = map[string]any{}
			}
			src.Columns["observed_on"] = "Date"
			s.src = src
		}
		if name := src.Names("observed_on")[0]; t.column(name) < 0 {
			return nil, &fault{"layout", name, string(t.rawHeader),
				fmt.Sprintf("source %s reads a column of months, %q, and columns of values under the series' ids; name the month column under [source.columns] month", src.Name, name)}, nil
		}
		s.across = seriesID
	} else if layout == "wide" {
		s.across = ourColumn(src.Across)
	}
	if s.across >= 0 {
		s.names[workspace.SourceColumns[s.across]] = 0
	}
	for i := range src.Series {
		s.inline[src.Series[i].ID] = &src.Series[i]
	}
	at := 1 + len(t.header)
	for _, l := range src.Lookups {
		cat, err := r.catalogue(l.Source)
		if err != nil {
			return nil, nil, err
		}
		by, ok := s.names[l.By]
		if !ok && l.By == "series" && src.Columns["series"] != nil {
			by, ok = s.names[src.Names("series")[0]]
		}
		if !ok {
			return nil, &fault{"missing_column", l.By, strings.Join(t.header, ","), "neither the file nor a lookup before it has that column: correct [source.lookups] of source " + src.Name}, nil
		}
		s.lookups = append(s.lookups, lookup{by, l.By, cat, l.Source})
		for i, h := range cat.header {
			if _, ok := s.names[h]; !ok {
				s.names[h] = at + i
			}
			s.names[l.Source+"."+h] = at + i
		}
		at += len(cat.header)
	}
	if bad := s.resolve(t); bad != nil {
		return nil, bad, nil
	}
	if s.across >= 0 {
		if bad := s.findValues(t, newDates(src, t.day0)); bad != nil {
			return nil, bad, nil
		}
	}
	return s, s.lacks(), nil
}

// resolve finds the places of all columns that the profile names.
func (s *shape) resolve(t *text) *fault {
	src := s.src
	find := func(name string) (ref, *fault) {
		if before, rest, ok := strings.Cut(name, "{"); ok {
			if key, behind, ok := strings.Cut(rest, "}"); ok {
				if at, ok := s.names[key]; ok {
					return ref{at, before, behind, true}, nil
				}
				name = key
			}
		}
		if at, ok := s.names[name]; ok {
			if at > 0 && at <= len(t.header) {
				if _, bad := t.columnNamed(name, src); bad != nil {
					return ref{}, bad
				}
			}
			return ref{at: at}, nil
		}
		_, bad := t.columnNamed(name, src)
		for _, l := range s.lookups {
			if len(l.cat.rows) == 0 {
				bad.cure = fmt.Sprintf("import the catalogue files of source %s, or: %s", l.src, bad.cure)
			}
		}
		return ref{}, bad
	}
	for _, ours := range slices.Sorted(maps.Keys(src.Columns)) {
		for _, name := range src.Names(ours) {
			f, bad := find(name)
			if bad != nil {
				return bad
			}
			s.refs[ourColumn(ours)] = append(s.refs[ourColumn(ours)], f)
		}
	}
	for ours, v := range src.Fixed {
		s.fixed[ourColumn(ours)] = []byte(v)
	}
	if src.Currency != "" && s.refs[currency] == nil {
		s.fixed[currency] = []byte(src.Currency)
	}
	if src.Gives == "averages" && s.refs[kind] == nil {
		s.fixed[kind] = []byte("average")
	}
	if s.across >= 0 {
		s.refs[s.across] = []ref{{at: 0}}
	}
	for _, l := range s.lookups { // what a catalogue says of our columns fills those that the source does not
		for ours, name := range l.cat.ours {
			if i := ourColumn(ours); s.refs[i] == nil && s.fixed[i] == nil && ours != "series" {
				s.refs[i] = []ref{{at: s.names[l.src+"."+name]}}
			}
		}
	}
	for ours, m := range src.Words {
		s.words[ourColumn(ours)] = map[string][]byte{}
		for theirs, word := range m {
			s.words[ourColumn(ours)][theirs] = []byte(word)
		}
	}
	for i := range s.refs {
		if s.refs[i] != nil || s.fixed[i] != nil {
			s.used = append(s.used, i)
		}
	}
	rules := func(lists map[string][]string, keep bool, text string) *fault {
		for _, name := range slices.Sorted(maps.Keys(lists)) {
			f, bad := find(name)
			if bad != nil {
				return bad
			}
			r := rule{at: f.at, list: map[string]bool{}, keep: keep, text: fmt.Sprintf("%s %s = %q of source %s", text, name, lists[name], src.Name)}
			for _, cell := range lists[name] {
				r.list[cell] = true
			}
			s.rules = append(s.rules, r)
		}
		return nil
	}
	if bad := rules(src.Keep, true, "the profile keeps"); bad != nil {
		return bad
	}
	if bad := rules(src.LeaveOut, false, "the profile leaves out"); bad != nil {
		return bad
	}
	for _, ours := range slices.Sorted(maps.Keys(src.Only)) {
		r := rule{at: s.refs[ourColumn(ours)][0].at, list: map[string]bool{}}
		for _, cell := range src.Only[ours] {
			r.list[cell] = true
		}
		s.only = append(s.only, r)
	}
	return nil
}

// findValues finds the columns of values of a wide file.
func (s *shape) findValues(t *text, d *dates) *fault {
	taken := map[int]bool{}
	for _, refs := range s.refs {
		for _, f := range refs {
			taken[f.at] = true
		}
	}
	for _, r := range s.rules {
		taken[r.at] = true
	}
	for _, l := range s.lookups {
		taken[l.by] = true
	}
	for i, h := range t.header {
		is := h != "" && !taken[1+i]
		switch {
		case len(s.src.Values) > 0:
			is = slices.ContainsFunc(s.src.Values, func(p string) bool { ok, _ := path.Match(p, h); return ok })
		case s.across == observedOn && is:
			_, _, bad := d.find(h)
			is = bad == nil || bad.code == "year_only" || bad.code == "date_order"
		}
		if is {
			s.values = append(s.values, i)
		}
	}
	switch n := len(s.values); {
	case n == 0:
		return &fault{"layout", "values", clip(string(t.rawHeader), 200), "no column of the header holds values: correct layout, header_starts or values of source " + s.src.Name}
	case n > result.CellsPerLine:
		return &fault{"layout", "values", fmt.Sprint(n), fmt.Sprintf("at most %d columns of values: split the file", result.CellsPerLine)}
	}
	return nil
}

// lacks says which of our columns the source must fill and does not.
func (s *shape) lacks() *fault {
	need := map[string][]int{
		"quotes": {observedOn, region, outlet, item, price}, "averages": {observedOn, region, item, price},
		"index":      {observedOn, region, indexName, price},
		"allowances": {effectiveFrom, region, persons, price, programme, amountKind},
	}[s.src.Gives]
	for _, i := range need {
		switch {
		case s.refs[i] != nil || s.fixed[i] != nil, i == price && s.values != nil:
			continue
		case len(s.inline) > 0 && (i == region || i == item || i == indexName):
			continue
		case s.across == seriesID && len(s.lookups) == 0 && (i == region || i == item || i == indexName):
			continue // told row by row, with the id
		case slices.ContainsFunc(s.lookups, func(l lookup) bool { return len(l.cat.rows) == 0 }):
			continue // as is what a catalogue not yet imported may say
		}
		name := workspace.SourceColumns[i]
		return &fault{"profile", name, s.src.Name, fmt.Sprintf("source %s says nowhere what is the %s: name its column under [source.columns], or give it under [source.fixed]", s.src.Name, name)}
	}
	return nil
}

// maxLine bounds the lines of a wide file: a place holds line and cell.
const maxLine = 1<<20 - 1

// walker takes rows through a shape. It belongs to one worker.
type walker struct {
	*shape
	flat  [][]byte
	out   cells
	label []byte // of the index, before the profile's words
}

// row passes on every observation of a row, or why it can not be one.
func (w *walker) row(rec *record, emit func(place int, raw []byte, c *cells, bad *fault)) {
	if bad := rowFault(rec, len(w.header)); bad != nil {
		emit(rec.line, rec.raw, nil, bad)
		return
	}
	w.flat = append(append(w.flat[:0], nil), rec.fields...)
	for len(w.flat) <= len(w.header) {
		w.flat = append(w.flat, nil)
	}
	w.flat = w.flat[:1+len(w.header)]
	n := len(w.flat)
	for _, r := range w.only {
		if !r.list[string(w.flat[r.at])] {
			return
		}
	}
	if w.values == nil {
		bad := w.observation(nil)
		if bad != errNoRow {
			emit(rec.line, rec.raw, &w.out, bad)
		}
		return
	}
	for k, col := range w.values {
		w.flat = w.flat[:n]
		w.flat[0] = w.header[col]
		bad := w.observation(w.flat[1+col])
		place, raw := rec.line, rec.raw
		if len(w.values) > 1 {
			place = result.PlaceOf(rec.line, k)
			if rec.line > maxLine {
				bad = &fault{"layout", "", "", fmt.Sprintf("more than %d lines of several values: split the file", maxLine)}
			}
			if bad != nil {
				raw = w.short(col)
			}
		}
		emit(place, raw, &w.out, bad)
	}
}

var errNoRow = &fault{}

// short is a value with its header and the cells that are no values.
func (w *walker) short(col int) []byte {
	var b bytes.Buffer
	for i := range w.header {
		if !slices.Contains(w.values, i) {
			b.Write(w.flat[1+i])
			b.WriteString(w.delimiter)
		}
	}
	fmt.Fprintf(&b, "%s=%s", w.header[col], w.flat[1+col])
	return b.Bytes()
}

// observation fills the cells of one value.
func (w *walker) observation(value []byte) *fault {
	w.out = cells{}
	id := w.cell(seriesID)
	one := w.inline[string(id)]
	for _, l := range w.lookups {
		key := w.flat[l.by]
		found, ok := l.cat.rows[string(key)]
		if !ok && one == nil {
			return w.unknown(l, key)
		}
		for i := range l.cat.header {
			var c []byte
			if i < len(found) {
				c = found[i]
			}
			w.flat = append(w.flat, c)
		}
	}
	for _, r := range w.rules {
		if c := w.flat[r.at]; r.list[string(c)] != r.keep {
			return &fault{"left_out", "", string(c), r.text}
		}
	}
	if w.across == seriesID && one == nil && len(w.lookups) == 0 && (len(w.inline) > 0 || w.refs[item] == nil && w.fixed[item] == nil && w.refs[indexName] == nil && w.fixed[indexName] == nil) {
		return &fault{"unknown_series", "series", string(id), fmt.Sprintf("describe it under [[source.series]] of source %s", w.src.Name)}
	}
	for _, i := range w.used {
		w.out[i] = w.cell(i)
	}
	if one != nil {
		for i, s := range map[int]string{region: one.Region, item: one.Item, pack: one.Pack, indexName: one.Index, basePeriod: one.BasePeriod, adjustment: one.Adjustment} {
			if s != "" {
				w.out[i] = []byte(s)
			}
		}
	}
	if w.across == seriesID && len(w.lookups) > 0 && w.refs[item] != nil && len(w.out[item]) == 0 {
		return w.unknown(w.lookups[0], id)
	}
	w.label = w.out[indexName]
	if w.values != nil {
		w.out[price] = value
	}
	if w.src.StripNotes {
		for _, i := range []int{region, outlet, item, variety, pack} {
			if len(w.out[i]) > 0 {
				w.out[i] = noteMark.ReplaceAll(w.out[i], nil)
			}
		}
	}
	w.out[price] = w.value(w.out[price])
	for i, words := range w.words {
		if word, ok := words[string(w.out[i])]; ok {
			w.out[i] = word
		}
	}
	return nil
}

// unknown is what is wrong where a lookup finds nothing.
func (w *walker) unknown(l lookup, key []byte) *fault {
	f := &fault{"unknown_code", l.name, string(key), fmt.Sprintf("import a file of source %s that describes it, or leave its rows out", l.src)}
	if l.by == 0 && w.across == seriesID || l.name == "series" {
		f.code, f.field = "unknown_series", "series"
		f.cure = fmt.Sprintf("import a catalogue file of source %s that says what it measures, or describe it under [[source.series]] of source %s", l.src, w.src.Name)
	}
	return f
}

// cell joins what fills one of our columns.
func (w *walker) cell(i int) []byte {
	refs := w.refs[i]
	if len(refs) == 0 {
		return w.fixed[i]
	}
	if len(refs) == 1 {
		return w.text(refs[0])
	}
	by := ", "
	switch i {
	case observedOn, effectiveFrom, effectiveTo, pack, weighed:
		by = " "
	}
	var b []byte
	for _, f := range refs {
		if t := w.text(f); len(t) > 0 {
			if len(b) > 0 {
				b = append(b, by...)
			}
			b = append(b, t...)
		}
	}
	return b
}

func (w *walker) text(f ref) []byte {
	t := w.flat[f.at]
	if !f.completed {
		return t
	}
	if at, ok := w.names[f.before+string(t)+f.behind]; ok && at < len(w.flat) {
		return w.flat[at]
	}
	return nil
}

// value takes off a value what does not belong to its number; nil is no value.
func (w *walker) value(b []byte) []byte {
	if slices.Contains(w.src.Missing, string(b)) {
		return nil
	}
	for _, m := range w.src.ValueMarks {
		if cut, ok := bytes.CutSuffix(b, []byte(m)); ok {
			b = bytes.TrimSpace(cut)
		}
	}
	if w.src.Thousands != "" {
		b = bytes.ReplaceAll(b, []byte(w.src.Thousands), nil)
	}
	if slices.Contains(w.src.Missing, string(b)) || w.src.ZeroIsMissing && isZero(b) {
		return nil
	}
	return b
}

func isZero(b []byte) bool {
	return bytes.IndexByte(b, '0') >= 0 && len(bytes.Trim(b, "0.,")) == 0
}

// catalogue is what the archived files of a catalogue source say, by its key.
type catalogue struct {
	header []string
	rows   map[string][][]byte
	ours   map[string]string // its columns by our names
}

// catalogue reads all archived files of a catalogue source; a file without its
// key column says nothing, as its own report tells.
func (r *reader) catalogue(name string) (*catalogue, error) {
	if c := r.catalogues[name]; c != nil {
		return c, nil
	}
	src := r.settings.Sources[r.rank(name)]
	c := &catalogue{rows: map[string][][]byte{}, ours: map[string]string{}}
	r.catalogues[name] = c
	for _, d := range r.archived {
		if r.source(d.Name).Name != name {
			continue
		}
		if err := c.add(d.Path(r.w), src); err != nil {
			return nil, err
		}
	}
	for ours := range src.Columns {
		if n := src.Names(ours); len(n) == 1 && slices.Contains(c.header, n[0]) {
			c.ours[ours] = n[0]
		}
	}
	return c, nil
}

func (c *catalogue) add(file string, src workspace.Source) error {
	u, err := Unpack(file, src)
	if err != nil {
		return nil // as the file's own report tells
	}
	defer u.Close()
	t, bad, err := openLayout(u.Reader, src)
	if err != nil || bad != nil {
		return err
	}
	key, bad := t.columnNamed(src.Names("series")[0], src)
	if bad != nil {
		return nil
	}
	at := make([]int, len(t.header))
	for i, h := range t.header {
		if at[i] = slices.Index(c.header, h); at[i] < 0 {
			at[i] = len(c.header)
			c.header = append(c.header, h)
		}
	}
	return t.each(func(rec *record) {
		if rowFault(rec, len(t.header)) != nil || key >= len(rec.fields) {
			return
		}
		row := make([][]byte, len(c.header))
		for i, f := range rec.fields[:min(len(rec.fields), len(at))] {
			row[at[i]] = bytes.Clone(f)
		}
		c.rows[string(rec.fields[key])] = row
	})
}
