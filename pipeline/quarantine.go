package pipeline

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"farthing/pipeline/compute"
	"farthing/pipeline/index"
	"farthing/pipeline/intake"
	"farthing/pipeline/result"
	"farthing/pipeline/workspace"
)

// AsideRow is a row set aside with its text, which is read from the archive;
// blank where the file can not be unpacked.
type AsideRow struct {
	result.SetAsideRow
	Row string `col:"row"`
}

// Quarantine is rows set aside of an edition and the reasons behind them.
type Quarantine struct {
	Reasons []result.SetAside
	Rows    []AsideRow

	excerpts map[string]*intake.Excerpt // by file
}

// Sheet is a sheet written for a person to mend.
type Sheet struct {
	Path  string   `json:"path"`
	Files []string `json:"files"` // that the rows come from
	Rows  int      `json:"rows"`
}

// SetAside is what the database holds of rows set aside, in an edition that has
// nothing else. It serves a workspace without a first edition, which may have
// none because of these very rows; it fails where the database is in use.
func (r *Run) SetAside(ctx context.Context) (*result.Edition, error) {
	if _, err := os.Stat(r.W.Database()); errors.Is(err, fs.ErrNotExist) {
		return nil, &workspace.InputError{Code: "no_edition", File: r.W.Database(), Read: "nothing is taken in yet", Instead: "run: farthing import"}
	}
	e := &result.Edition{}
	err := r.locked("quarantine", func() error {
		return r.stored(ctx, func() (err error) {
			e.SetAside, e.AsideRows, err = compute.SetAside(ctx, r.st)
			return err
		})
	})
	return e, err
}

// QuarantineOf reads what an edition set aside, of one reason code and one
// file if they are not blank. It opens no database.
func QuarantineOf(w *workspace.Workspace, e *result.Edition, code, file string) (*Quarantine, error) {
	if e.Dir != "" { // else SetAside gave it
		if err := e.LoadAsideRows(); err != nil {
			return nil, err
		}
	}
	asked := func(c, f string) bool { return (code == "" || c == code) && (file == "" || f == file) }
	q := &Quarantine{excerpts: map[string]*intake.Excerpt{}}
	for _, a := range e.SetAside {
		if asked(a.Code, a.Name) {
			q.Reasons = append(q.Reasons, a)
		}
	}
	lines := map[string]map[int]bool{}
	for _, r := range e.AsideRows {
		if asked(r.Code, r.Name) {
			q.Rows = append(q.Rows, AsideRow{SetAsideRow: r})
			addLine(lines, r.SHA256, r.Line.V)
		}
	}
	err := readExcerpts(w, lines, q.excerpts)
	for i, r := range q.Rows {
		if x := q.excerpts[r.SHA256]; x != nil {
			q.Rows[i].Row = x.Text[r.Line.V]
		}
	}
	return q, err
}

func addLine(lines map[string]map[int]bool, sha256 string, line int) {
	if lines[sha256] == nil {
		lines[sha256] = map[int]bool{}
	}
	lines[sha256][line] = true
}

func readExcerpts(w *workspace.Workspace, lines map[string]map[int]bool, excerpts map[string]*intake.Excerpt) (err error) {
	for sha256, of := range lines {
		if excerpts[sha256], err = intake.ReadExcerpt(w, sha256, of); err != nil {
			return err
		}
	}
	return nil
}

// leftOut is the code of rows that a profile leaves out on purpose.
const leftOut = "left_out"

// Export writes the rows that wait to be mended as sheets, one for all files of
// a source with the same header: to path, or where there are several sheets to
// path with -1, -2 ... before its ending. Rows left out by their profile are exported only if asked for alone.
// A file whose rows a sheet can not hold is told by a warning.
func (q *Quarantine) Export(path string) (sheets []Sheet, warnings []result.Warning, err error) {
	byFile := map[string][]result.SetAsideRow{}
	only := !slices.ContainsFunc(q.Reasons, func(a result.SetAside) bool { return a.Code != leftOut })
	for _, r := range q.Rows {
		if r.Mended == "no" && r.Mends == "" && (r.Code != leftOut || only) {
			byFile[r.SHA256] = append(byFile[r.SHA256], r.SetAsideRow)
		}
	}
	var tables [][][]string
	var layouts []string
	for _, a := range q.Reasons { // by file
		rows := byFile[a.SHA256]
		delete(byFile, a.SHA256)
		if len(rows) == 0 {
			continue
		}
		x := q.excerpts[a.SHA256]
		table, why := x.Sheet(rows)
		if why != "" {
			warnings = append(warnings, result.Warning{Code: "not_exported", Text: fmt.Sprintf("%d rows of %s stand in no sheet", len(rows), a.Name), Cure: why, Key: a.SHA256})
			continue
		}
		layout := x.Source.Name + "\x00" + strings.Join(table[0], "\x00")
		i := slices.Index(layouts, layout)
		if i < 0 {
			i = len(layouts)
			layouts, tables, sheets = append(layouts, layout), append(tables, table[:1]), append(sheets, Sheet{Path: path})
		}
		tables[i] = append(tables[i], table[1:]...)
		sheets[i].Files, sheets[i].Rows = append(sheets[i].Files, a.Name), sheets[i].Rows+len(rows)
	}
	if ext := filepath.Ext(path); len(sheets) > 1 {
		for i := range sheets {
			sheets[i].Path = fmt.Sprintf("%s-%d%s", strings.TrimSuffix(path, ext), i+1, ext)
		}
	}
	for _, s := range sheets {
		if _, err := os.Lstat(s.Path); err == nil {
			return nil, nil, &workspace.InputError{Code: "exists", File: s.Path, Read: "is there already", Instead: "name another file: nothing is written over"}
		}
	}
	for i, s := range sheets {
		if err := workspace.WriteSheet(s.Path, tables[i]); err != nil {
			return nil, nil, err
		}
	}
	return sheets, warnings, nil
}

// HeldRow is an observation that an edit rule holds and no correction has
// released or mended yet.
type HeldRow struct {
	ObservationID string     `col:"observation_id,key"`
	Held          string     `col:"held"` // the rules
	ObservedOn    string     `col:"observed_on"`
	Region        string     `col:"region"`
	Outlet        string     `col:"outlet"`
	Item          string     `col:"item"`
	Variety       string     `col:"variety"`
	Grade         string     `col:"grade"`
	Pack          string     `col:"pack"`
	Price         result.Num `col:"price_lcu,money"`
	UnitPrice     result.Num `col:"unit_price_lcu,money"`
	BaseUnit      string     `col:"base_unit"`
	// Median is the middle unit price of the neighbours within the days of
	// [edit]: of the same pack in the same shop or, where these are fewer than
	// its min_own, of the same item and grade anywhere.
	Median     result.Num `col:"neighbours_median_lcu,money"`
	Neighbours result.Int `col:"n_neighbours"`
	Of         string     `col:"neighbours"` // own series or peers
	File       string     `col:"file"`
	Line       result.Int `col:"line"`
	Row        string     `col:"row"` // of the file
	// Release and Set are lines for tables/corrections, to be completed by the
	// reason and, of Set, by the right price.
	Release string `col:"release"`
	Set     string `col:"set"`
}

// heldNote is an observation held, and the unit prices of its neighbours.
type heldNote struct {
	o          map[string]string
	day        time.Time
	own, peers []float64
}

// series tells apart what the rule of own series compares.
var series = []string{"region", "outlet", "variety", "pack"}

// Held lists the observations of an edition that are held, in the order of its file.
func Held(w *workspace.Workspace, e *result.Edition, today time.Time) ([]HeldRow, error) {
	then, err := workspace.Open(e.Dir) // the settings of the edition
	if err != nil {
		return nil, err
	}
	good := func(get func(string) string) string {
		return strings.Join([]string{get("kind"), get("item"), cmp.Or(get("grade"), then.Prices.DefaultGrade)}, "\x00")
	}
	var notes []*heldNote
	byGood := map[string][]*heldNote{}
	if err := result.EachObservation(e.Dir, func(o result.Observation) {
		if o.IsHeld() {
			n := &heldNote{o: o.Clone()}
			n.day, _ = workspace.ParseDay(n.o["observed_on"])
			notes = append(notes, n)
			byGood[good(o.Get)] = append(byGood[good(o.Get)], n)
		}
	}); err != nil || len(notes) == 0 {
		return nil, err
	}
	window := time.Duration(then.Edit.WindowDays) * 24 * time.Hour
	if err := result.EachObservation(e.Dir, func(o result.Observation) {
		near := byGood[good(o.Get)]
		price := unitPrice(o.Get)
		if len(near) == 0 || !price.OK || o.Get("correction") == "exclude" {
			return
		}
		day, _ := workspace.ParseDay(o.Get("observed_on"))
		for _, n := range near {
			if day.Sub(n.day).Abs() > window || o.Get("observation_id") == n.o["observation_id"] {
				continue
			}
			n.peers = append(n.peers, price.V)
			if !slices.ContainsFunc(series, func(c string) bool { return o.Get(c) != n.o[c] }) {
				n.own = append(n.own, price.V)
			}
		}
	}); err != nil {
		return nil, err
	}
	lines, files := map[string]map[int]bool{}, map[string]result.Source{}
	for _, f := range e.Sources {
		files[f.SHA256[:archiveDigits]] = f
	}
	var rows []HeldRow
	for _, n := range notes {
		get := func(c string) string { return n.o[c] }
		line, _ := strconv.Atoi(n.o["line"])
		f := files[n.o["archive_file"]]
		r := HeldRow{ObservationID: n.o["observation_id"], Held: n.o["held"], ObservedOn: n.o["observed_on"], Region: n.o["region"], Outlet: n.o["outlet"],
			Item: n.o["item"], Variety: n.o["variety"], Grade: n.o["grade"], Pack: n.o["pack"], UnitPrice: unitPrice(get), BaseUnit: n.o["base_unit"],
			File: f.Name, Line: result.Count(line)}
		if p, err := strconv.ParseFloat(n.o["price_lcu"], 64); err == nil {
			r.Price = result.Some(p)
		}
		near := n.own
		if r.Of = "own series"; len(near) < then.Edit.MinOwn {
			near, r.Of = n.peers, "peers"
		}
		if r.Neighbours = result.Count(len(near)); len(near) > 0 {
			r.Median = result.Some(index.Median(near))
		}
		r.Release = fmt.Sprintf("%s,price,release,,,,,%s", r.ObservationID, today.UTC().Format("2006-01-02"))
		r.Set = fmt.Sprintf("%s,price,set,%s,,,,%s", r.ObservationID, n.o["price_lcu"], today.UTC().Format("2006-01-02"))
		rows = append(rows, r)
		addLine(lines, f.SHA256, r.Line.V)
	}
	excerpts := map[string]*intake.Excerpt{}
	err = readExcerpts(w, lines, excerpts)
	for i, n := range notes {
		if x := excerpts[files[n.o["archive_file"]].SHA256]; x != nil {
			rows[i].Row = x.Text[rows[i].Line.V]
		}
	}
	return rows, err
}

// archiveDigits is how much of a file's sha256 stands in observations.csv.
const archiveDigits = 12

// unitPrice is the unit price of an observation, as a correction set it.
func unitPrice(get func(string) string) result.Num {
	price, errP := strconv.ParseFloat(cmp.Or(get("price_used_lcu"), get("price_lcu")), 64)
	quantity, errQ := strconv.ParseFloat(get("quantity"), 64)
	if errP != nil || errQ != nil {
		return result.Num{}
	}
	return result.Some(price / quantity)
}
