package intake

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"regexp"
	"slices"
	"sort"
	"strconv"
	"strings"
	"time"

	"farthing/pipeline/result"
	"farthing/pipeline/store"
	"farthing/pipeline/workspace"
)

// This file takes rows that were set aside out to a person, as a sheet, and the
// mended sheet back in. The file they came from, its counts and its rows set
// aside stay as they are; a row of the sheet stands for the one whose mark its
// cell of the column mends holds.

// sheetColumns are those of a sheet beyond its file's own. The others than the
// mark are for the person, and passed over when the sheet comes back.
var sheetColumns = []string{markColumn, "why", "cure"}

const markColumn = "mends"

// guarded finds a cell that a spreadsheet would run as a formula, or one that
// would be taken for a guarded one.
var guarded = regexp.MustCompile("^'*[=+\\-@\t\r]")

// guard makes a cell safe in a spreadsheet by an apostrophe before it.
func guard(s string) string {
	if guarded.MatchString(s) {
		return "'" + s
	}
	return s
}

// unguard takes that apostrophe off again; no other cell is changed.
func unguard(b []byte) []byte {
	if len(b) > 0 && b[0] == '\'' && guarded.Match(b) {
		return b[1:]
	}
	return b
}

// claim is a row of a sheet that is to mend a row set aside.
type claim struct {
	line int
	raw  string
	mark string
	file string // first digits of the sha256 of the file that the mark names, "" if it is no mark
	of   int    // the line that it names
}

var markForm = regexp.MustCompile(`^([0-9a-f]{12}):([1-9][0-9]{0,8})$`)

// readClaims reads which rows a file is to mend: none, where it is no sheet.
func readClaims(path string) (list []claim, err error) {
	u, err := Unpack(path, workspace.Source{})
	var bad *unreadable
	if errors.As(err, &bad) {
		return nil, nil // as the file's own report tells
	}
	if err != nil {
		return nil, err
	}
	defer u.Close()
	t, err := openText(u.Reader)
	if err == nil && t.guarded {
		at := t.column(markColumn)
		err = t.each(func(rec *record) {
			if at >= len(rec.fields) || len(rec.fields[at]) == 0 {
				return
			}
			c := claim{line: rec.line, raw: string(rec.raw), mark: string(rec.fields[at])}
			if m := markForm.FindStringSubmatch(c.mark); m != nil {
				c.file = m[1]
				c.of, _ = strconv.Atoi(m[2])
			}
			list = append(list, c)
		})
	}
	if u.packed && err != nil {
		return nil, nil // again its own report
	}
	return list, err
}

// sourceOf is the profile that reads a file, and which rows set aside it is to
// mend. A sheet is read, whatever its name, by the profile of the first file
// that it names: its columns and words, but in the sheet's own plain layout.
func (l *lexicon) sourceOf(w *workspace.Workspace, path string, archived []Descriptor) (workspace.Source, []claim, error) {
	src := l.source(safeName(filepath.Base(path)))
	claims, err := readClaims(path)
	isMark := func(c claim) bool { return c.file != "" }
	if err != nil || len(claims) == 0 || src.Gives != "notes" && !slices.ContainsFunc(claims, isMark) {
		return src, nil, err // a file may have a column of that name
	}
	src = priceNotes
	for _, c := range claims {
		i := slices.IndexFunc(archived, func(d Descriptor) bool { return isMark(c) && strings.HasPrefix(d.SHA256, c.file) })
		if i < 0 {
			continue
		}
		others := slices.Delete(slices.Clone(archived), i, i+1) // nothing mends itself, whatever its marks say
		of, _, err := l.sourceOf(w, archived[i].Path(w), others)
		if err == nil && mendable(of) {
			src = of
			src.Sheet, src.Encoding, src.Delimiter, src.HeaderLine, src.HeaderStarts, src.SkipRows = "", "", "", 0, "", 0
			src.StopAtBlank, src.StopStarts = false, nil
		}
		return src, claims, err
	}
	return src, claims, nil
}

// mendable says whether a row of a source's file is one price, so that a row of a sheet can stand for it.
func mendable(src workspace.Source) bool {
	return src.Gives == "notes" || (src.Gives == "quotes" || src.Gives == "averages") && layoutOf(src) == "long"
}

// readingOrder puts sheets after the files that they mend; else the order stays.
func readingOrder(list []Descriptor, claims map[string][]claim) (order []Descriptor) {
	at := map[string]Descriptor{}
	for _, d := range list {
		at[d.SHA256[:markDigits]] = d
	}
	seen := map[string]bool{}
	var visit func(Descriptor)
	visit = func(d Descriptor) {
		if seen[d.SHA256] {
			return
		}
		seen[d.SHA256] = true
		for _, c := range claims[d.SHA256] {
			if before, ok := at[c.file]; ok {
				visit(before)
			}
		}
		order = append(order, d)
	}
	for _, d := range list {
		visit(d)
	}
	return order
}

const markDigits = 12

// mender is an accepted row that mends another.
type mender struct {
	name string
	line int
	id   uint64
}

// mend holds the claims of a sheet just read against what is set aside. A row
// whose claim can not stand is taken out again and set aside. The same sheet
// may come twice: a row with the same observation is a repeat, no second claim.
// It gives how many rows set aside are mended.
func (r *reader) mend(ctx context.Context, st *store.Store, d Descriptor, src workspace.Source, fileID int32, claims []claim, o *outcome) (mended int, err error) {
	ids, aside := map[int]uint64{}, map[int]bool{}
	for _, a := range o.aside {
		aside[a.line] = true
	}
	if err := st.Query(ctx, func(scan func(...any) error) error {
		var line int
		var id uint64
		err := scan(&line, &id)
		ids[line] = id
		return err
	}, "SELECT CAST(line AS BIGINT), observation_id FROM obs_price WHERE file_id = ?", fileID); err != nil {
		return 0, err
	}
	open := map[string]map[int]bool{} // lines set aside, by file
	var rows [][]any
	var out []string
	for _, c := range claims {
		if _, ok := open[c.file]; !ok {
			open[c.file] = map[int]bool{}
			if err := st.Query(ctx, func(scan func(...any) error) error {
				var line int
				err := scan(&line)
				open[c.file][line] = true
				return err
			}, "SELECT CAST(a.line AS BIGINT) FROM set_aside_row a JOIN file f ON f.file_id = a.file_id WHERE substr(f.sha256, 1, 12) = ? AND f.source = ?", c.file, src.Name); err != nil {
				return 0, err
			}
		}
		before, taken := r.mended[c.mark]
		cure := ""
		switch {
		case aside[c.line]:
		case !open[c.file][c.of]:
			cure = fmt.Sprintf("no row of source %s with that mark is set aside now: copy the mark from farthing quarantine --export, or leave the cell blank where the row is a price of its own", src.Name)
		case taken && before.id != ids[c.line]:
			cure = fmt.Sprintf("line %d of %s mends that row already: take this row out of the sheet; if that one is wrong, correct its observation in tables/corrections", before.line, before.name)
		case !taken:
			r.mended[c.mark] = mender{d.Name, c.line, ids[c.line]}
			mended++
		}
		if cure != "" {
			o.aside = append(o.aside, setAside{c.line, fault{"mends", markColumn, clip(c.mark, 200), cure}, clip(c.raw, 4096)})
			out = append(out, strconv.Itoa(c.line))
		}
		if c.file != "" {
			rows = append(rows, []any{fileID, int32(c.line), c.file, int32(c.of), cure == "" && !aside[c.line]})
		}
	}
	sort.SliceStable(o.aside, func(i, j int) bool { return o.aside[i].line < o.aside[j].line })
	return mended, errors.Join(st.Append(ctx, "obs_mend", rows),
		st.Exec(ctx, "DELETE FROM obs_price WHERE file_id = ? AND list_contains(string_split(?, ','), CAST(line AS VARCHAR))", fileID, strings.Join(out, ",")))
}

// ArchivedFile is where an archived file lies and the profile that reads it.
func ArchivedFile(w *workspace.Workspace, sha256 string) (path string, src workspace.Source, err error) {
	archived, err := Archived(w)
	if err != nil {
		return "", src, err
	}
	i := slices.IndexFunc(archived, func(d Descriptor) bool { return d.SHA256 == sha256 })
	if i < 0 {
		return "", src, fmt.Errorf("archive/%s is not there: bring it back from a copy of the workspace", sha256)
	}
	path = archived[i].Path(w)
	src, _, err = (&lexicon{settings: w.Settings}).sourceOf(w, path, archived)
	return path, src, err
}

// Excerpt is some rows of an archived file.
type Excerpt struct {
	Source workspace.Source
	Text   map[int]string // by line, as they stand

	day0   time.Time
	header []string
	cells  map[int][]string
}

// ReadExcerpt reads the rows of an archived file that start on some lines. A
// file that can not be unpacked has none.
func ReadExcerpt(w *workspace.Workspace, sha256 string, lines map[int]bool) (*Excerpt, error) {
	path, src, err := ArchivedFile(w, sha256)
	if err != nil {
		return nil, err
	}
	x := &Excerpt{Text: map[int]string{}, cells: map[int][]string{}, Source: src}
	u, err := Unpack(path, x.Source)
	var bad *unreadable
	if errors.As(err, &bad) {
		return x, nil
	}
	if err != nil {
		return nil, err
	}
	defer u.Close()
	t, _, err := openLayout(u.Reader, x.Source)
	if err != nil {
		return nil, err
	}
	x.day0 = u.day0
	if len(t.rawHeader) > 0 {
		x.header = texts(split(t.rawHeader, t.delimiter, nil))
		if t.guarded {
			x.header = t.header
		}
	}
	done := errors.New("all are found")
	err = t.blocks(func(b block) error {
		t.records(b, func(rec *record) {
			if !lines[rec.line] {
				return
			}
			x.Text[rec.line] = clip(string(rec.raw), 4096)
			x.cells[rec.line] = texts(rec.fields)
			if rec.fault != "" {
				x.cells[rec.line] = strings.Split(string(rec.raw), string(t.delimiter))
			}
		})
		if len(x.Text) == len(lines) {
			return done
		}
		return nil
	})
	if err == done || u.packed { // what a broken pack holds up to there
		err = nil
	}
	return x, err
}

func texts(fields [][]byte) (list []string) {
	for _, f := range fields {
		list = append(list, strings.ToValidUTF8(string(f), "\ufffd"))
	}
	return list
}

// Sheet is rows set aside under the header of their file, each with its mark,
// why it was set aside, and what would cure it. Cells that a row has beyond the
// header stand in its last one; a spreadsheet's day numbers are written out.
// why says, with no sheet, what stands against one.
func (x *Excerpt) Sheet(rows []result.SetAsideRow) (sheet [][]string, why string) {
	switch {
	case !mendable(x.Source):
		return nil, fmt.Sprintf("a row of source %s is more or other than one price: correct its profile or tables/aliases", x.Source.Name)
	case len(x.header) == 0:
		return nil, "it has no header line that can be read: save or fetch the file again"
	}
	var keep []int
	isDay := map[int]bool{}
	for i, h := range x.header {
		if !slices.Contains(sheetColumns, h) {
			keep = append(keep, i)
		}
		isDay[i] = x.Source.Gives == "notes" && h == columnNames[observedOn] || slices.Contains(x.Source.Names(columnNames[observedOn]), h)
	}
	line := func(cells []string, more ...string) {
		var row []string
		for _, i := range keep {
			cell := ""
			if i < len(cells) {
				cell = cells[i]
			}
			if n := len(x.header); i == n-1 && len(cells) > n {
				cell = strings.Join(cells[i:], ",")
			}
			if day, is := serial(x.day0, cell); is && isDay[i] {
				cell = day.Format("2006-01-02")
			}
			row = append(row, cell)
		}
		row = append(row, more...)
		for i := range row {
			row[i] = guard(row[i])
		}
		sheet = append(sheet, row)
	}
	line(x.header, sheetColumns...)
	for _, r := range rows {
		line(x.cells[int(r.Line.V)], r.Mark(), fmt.Sprintf("%s line %s: %s, %s %q", r.Name, r.Line, r.Code, r.Field, r.Text), r.Cure)
	}
	return sheet, ""
}
