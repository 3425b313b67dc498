// Package intake takes files in: it keeps each byte for byte in the archive,
// reads it by its source's profile into typed observations, sets aside what it
// can not read, finds repeats, and holds what looks like a slip.
//
// Order of work: archive.go (keep) -> record.go (rows of a text) -> read.go (a
// profile's rows as fields) -> row.go and lexicon.go (fields as an
// observation) -> the database -> repeats and holds in SQL. It fills no gap
// and computes no price.
package intake

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"strings"
	"time"

	"farthing/pipeline/store"
	"farthing/pipeline/workspace"
	"farthing/queries"
)

// Reason is why rows of a file were set aside, with the first of them.
type Reason struct {
	Code      string `json:"code"`
	Rows      int    `json:"rows"`
	FirstLine int    `json:"first_line"`
	Field     string `json:"field"`
	Text      string `json:"text"`
	Cure      string `json:"cure"`

	more int // names that stand behind one entry
}

// FileReport is what became of the rows of one file.
type FileReport struct {
	Path         string   `json:"path"`
	SHA256       string   `json:"sha256"`
	Source       string   `json:"source"`
	AlreadyKnown bool     `json:"already_known"`
	Read         int      `json:"read"`
	Accepted     int      `json:"accepted"`
	Quarantined  int      `json:"quarantined"`
	Duplicate    int      `json:"duplicate"`
	Held         int      `json:"held"`
	Mended       int      `json:"mended"` // rows set aside of other files that rows of this one mend
	Reasons      []Reason `json:"reasons"`
}

// Report is what one import did: read = accepted + quarantined + duplicate for
// each file and in all; held rows are among the accepted.
type Report struct {
	Schema      string       `json:"schema"`
	Files       []FileReport `json:"files"`
	Read        int          `json:"read"`
	Accepted    int          `json:"accepted"`
	Quarantined int          `json:"quarantined"`
	Duplicate   int          `json:"duplicate"`
}

// Add counts a file in.
func (r *Report) Add(f FileReport) {
	r.Files = append(r.Files, f)
	r.Read, r.Accepted, r.Quarantined, r.Duplicate = r.Read+f.Read, r.Accepted+f.Accepted, r.Quarantined+f.Quarantined, r.Duplicate+f.Duplicate
}

// Keep puts files into the archive. A file that can not be opened stops it
// before anything is kept.
func Keep(w *workspace.Workspace, paths []string, now time.Time) ([]Descriptor, []FileReport, error) {
	var errs []error
	for _, p := range paths {
		if read := notReadable(p); read != "" {
			errs = append(errs, &workspace.InputError{Code: "no_file", File: p, Read: read, Instead: "name a file that can be read"})
		}
	}
	if len(errs) > 0 {
		return nil, nil, errors.Join(errs...)
	}
	archived, err := Archived(w)
	if err != nil {
		return nil, nil, err
	}
	l := &lexicon{settings: w.Settings}
	var kept []Descriptor
	var reports []FileReport
	for _, p := range paths {
		src, _, err := l.sourceOf(w, p, append(archived, kept...))
		if err != nil {
			return nil, nil, err
		}
		d, known, err := keep(w, p, src, now)
		if err != nil {
			return nil, nil, err
		}
		kept = append(kept, d)
		reports = append(reports, FileReport{Path: p, SHA256: d.SHA256, Source: d.Source, AlreadyKnown: known, Reasons: []Reason{}})
	}
	return kept, reports, nil
}

// notReadable says why a path is no file to be read, or "". A pipe or a device might never end.
func notReadable(path string) string {
	st, err := os.Stat(path)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return "no such file"
	case err == nil && st.IsDir():
		return "a folder"
	case err == nil && !st.Mode().IsRegular():
		return "not a plain file"
	case err == nil:
		var f *os.File
		if f, err = os.Open(path); err == nil {
			f.Close()
			return ""
		}
	}
	if p := new(fs.PathError); errors.As(err, &p) {
		err = p.Err // the path is named beside it
	}
	return err.Error()
}

// InboxFiles lists what waits in the inbox, by name.
func InboxFiles(w *workspace.Workspace) ([]string, error) {
	entries, err := os.ReadDir(w.Inbox())
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	var paths []string
	for _, e := range entries {
		if e.Type().IsRegular() && !strings.HasPrefix(e.Name(), ".") {
			paths = append(paths, filepath.Join(w.Inbox(), e.Name()))
		}
	}
	sort.Strings(paths)
	return paths, err
}

// Load reads archived files that the database does not hold yet, all of them
// afresh if again is set, and looks for repeats and slips among everything.
// It runs in the caller's transaction. The report has the files just read. A
// file's bytes are held against its hash, unless it is among those just kept.
func Load(ctx context.Context, st *store.Store, w *workspace.Workspace, tables *workspace.Tables, again bool, kept []FileReport) (*Report, error) {
	archived, err := Archived(w)
	if err != nil {
		return nil, err
	}
	known := map[string]int32{}
	if err := st.Query(ctx, func(scan func(...any) error) error {
		var sha, name string
		var id int32
		err := scan(&sha, &id, &name)
		known[sha] = id
		// A file that was taken out of the archive, or kept under another name since, was read in vain.
		again = again || !slices.ContainsFunc(archived, func(d Descriptor) bool { return d.SHA256 == sha && d.Name == name })
		return err
	}, "SELECT sha256, file_id, name FROM file"); err != nil {
		return nil, err
	}
	r := newReader(w, tables, st, archived)
	held := known // before anything is read again
	fresh := slices.DeleteFunc(slices.Clone(archived), func(d Descriptor) bool { return isHeld(held, d) })
	profiles, claims, err := r.profiles(fresh)
	if err != nil {
		return nil, err
	}
	if !again && len(known) > 0 {
		if again, err = upsets(ctx, st, fresh, profiles, claims); err != nil {
			return nil, err
		}
	}
	if again {
		known, fresh = map[string]int32{}, archived
		if profiles, claims, err = r.profiles(fresh); err != nil {
			return nil, err
		}
		for _, table := range []string{"file", "word", "amount", "obs_price", "obs_duplicate", "set_aside_row", "obs_mend", "obs_index", "obs_allowance"} {
			if err := st.Exec(ctx, "DELETE FROM "+table); err != nil {
				return nil, err
			}
		}
	}
	if err := r.vocab.load(ctx, st); err != nil {
		return nil, err
	}
	next := int32(0)
	for _, id := range known {
		next = max(next, id+1)
	}
	report := &Report{Files: []FileReport{}}
	first := next
	for _, d := range readingOrder(fresh, claims) {
		src := profiles[d.SHA256]
		justKept := slices.ContainsFunc(kept, func(k FileReport) bool { return k.SHA256 == d.SHA256 && !k.AlreadyKnown })
		if !justKept {
			if err := d.intact(w); err != nil {
				return nil, err
			}
		}
		if r.keptOn, err = workspace.ParseDay(d.KeptOn); err != nil {
			return nil, fmt.Errorf("archive/%s/%s: %w", d.SHA256, descriptorFile, err)
		}
		o, err := r.read(ctx, d.Path(w), src, next)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", d.Name, err)
		}
		mended := 0
		if list := claims[d.SHA256]; len(list) > 0 {
			if mended, err = r.mend(ctx, st, d, src, next, list, &o); err != nil {
				return nil, fmt.Errorf("%s: %w", d.Name, err)
			}
		}
		f := FileReport{Path: d.Name, SHA256: d.SHA256, Source: src.Name, AlreadyKnown: isHeld(held, d), Read: o.read, Quarantined: len(o.aside), Mended: mended, Reasons: reasons(o.aside)}
		report.Files = append(report.Files, f)
		var rows [][]any
		for _, a := range o.aside {
			rows = append(rows, []any{next, int32(a.line), a.code, a.field, a.text, a.cure, a.row})
		}
		if err := st.Append(ctx, "set_aside_row", rows); err != nil {
			return nil, err
		}
		if err := st.Append(ctx, "file", [][]any{{next, d.SHA256, d.Name, src.Name, src.Gives, r.rank(src.Name), int64(o.read), int64(len(o.aside))}}); err != nil {
			return nil, err
		}
		next++
	}
	if err := r.vocab.save(ctx, st); err != nil {
		return nil, err
	}
	if next > first || again {
		if err := repeatsAndHolds(ctx, st, w.Edit); err != nil {
			return nil, err
		}
	}
	return report, count(ctx, st, report, first)
}

func isHeld(held map[string]int32, d Descriptor) bool {
	_, ok := held[d.SHA256]
	return ok
}

// profiles are the profiles that read files, and the claims of those that are sheets.
func (r *reader) profiles(list []Descriptor) (profiles map[string]workspace.Source, claims map[string][]claim, err error) {
	profiles, claims = map[string]workspace.Source{}, map[string][]claim{}
	for _, d := range list {
		if profiles[d.SHA256], claims[d.SHA256], err = r.sourceOf(r.w, d.Path(r.w), r.archived); err != nil {
			return nil, nil, fmt.Errorf("%s: %w", d.Name, err)
		}
	}
	return profiles, claims, nil
}

// upsets says whether new files may change how known ones were read: a
// catalogue may name series that were set aside before it came, a sheet may
// claim what another has, and a file may be the one that a sheet names.
func upsets(ctx context.Context, st *store.Store, fresh []Descriptor, profiles map[string]workspace.Source, claims map[string][]claim) (bool, error) {
	named := map[string]bool{}
	err := st.Query(ctx, func(scan func(...any) error) error {
		var file string
		err := scan(&file)
		named[file] = true
		return err
	}, "SELECT DISTINCT mends_file FROM obs_mend")
	return slices.ContainsFunc(fresh, func(d Descriptor) bool {
		return profiles[d.SHA256].Gives == "catalogue" || named[d.SHA256[:markDigits]] || len(named) > 0 && len(claims[d.SHA256]) > 0
	}), err
}

func repeatsAndHolds(ctx context.Context, st *store.Store, e workspace.Edit) error {
	for _, q := range []queries.Query{queries.ObsShared, queries.ObsRepeat} {
		if err := st.Make(ctx, q, nil); err != nil {
			return err
		}
	}
	for _, text := range []string{
		"INSERT INTO obs_duplicate SELECT file_id, line, of_file, of_line, amount FROM obs_repeat",
		"DELETE FROM obs_price USING obs_repeat r WHERE obs_price.file_id = r.file_id AND obs_price.line = r.line",
	} {
		if err := st.Exec(ctx, text); err != nil {
			return err
		}
	}
	if err := st.Make(ctx, queries.EditConflict, nil); err != nil {
		return err
	}
	if err := st.Make(ctx, queries.EditSuspect, store.Args{"own_ratio": e.OwnRatio, "peer_ratio": e.PeerRatio,
		"window_days": e.WindowDays, "window_months": (e.WindowDays + 15) / 30, "min_own": e.MinOwn, "min_peer": e.MinPeer}); err != nil {
		return err
	}
	if err := relatives(ctx, st, e); err != nil {
		return err
	}
	if err := st.Make(ctx, queries.EditHold, nil); err != nil {
		return err
	}
	return st.Make(ctx, queries.ObsOwner, nil)
}

// count fills in repeats and holds of the files just read, whose numbers start at first.
func count(ctx context.Context, st *store.Store, r *Report, first int32) error {
	per := func(text string, set func(f *FileReport, n int)) error {
		return st.Query(ctx, func(scan func(...any) error) error {
			var id int32
			var n int
			if err := scan(&id, &n); err != nil {
				return err
			}
			set(&r.Files[id-first], n)
			return nil
		}, text, first)
	}
	if len(r.Files) > 0 {
		if err := errors.Join(
			per("SELECT file_id, CAST(count(*) AS BIGINT) FROM obs_duplicate WHERE file_id >= ? GROUP BY file_id", func(f *FileReport, n int) { f.Duplicate = n }),
			per("SELECT file_id, CAST(count(*) AS BIGINT) FROM edit_hold WHERE file_id >= ? GROUP BY file_id", func(f *FileReport, n int) { f.Held = n }),
		); err != nil {
			return err
		}
	}
	files := r.Files
	r.Files = files[:0]
	for _, f := range files {
		f.Accepted = f.Read - f.Quarantined - f.Duplicate
		r.Add(f)
	}
	return nil
}

// maxNames is how many names that mean nothing here a report lists of a file.
const maxNames = 100

// reasons groups set-aside rows by code and field, the most frequent first;
// names and packs that mean nothing here have an entry each, since each has a
// cure of its own, and the rarest share one.
func reasons(aside []setAside) []Reason {
	type group struct{ code, field, cure, name string }
	at := map[group]int{}
	list := []Reason{}
	for _, a := range aside {
		g := group{a.code, a.field, a.cure, ""}
		if namesOne(a.code) {
			g.name = a.text
		}
		i, ok := at[g]
		if !ok {
			i = len(list)
			at[g] = i
			list = append(list, Reason{Code: a.code, FirstLine: a.line, Field: a.field, Text: a.text, Cure: a.cure})
		}
		list[i].Rows++
	}
	sort.SliceStable(list, func(i, j int) bool { return list[i].Rows > list[j].Rows })
	names, rest := 0, map[string]*Reason{}
	kept := list[:0:0]
	var more []*Reason
	for _, r := range list {
		if namesOne(r.Code) {
			if names++; names > maxNames {
				if rest[r.Code] == nil {
					rest[r.Code] = &Reason{Code: r.Code, FirstLine: r.FirstLine, Field: r.Field, Cure: "cure the others first, and import again"}
					more = append(more, rest[r.Code])
				}
				m := rest[r.Code]
				m.Rows, m.FirstLine, m.more = m.Rows+r.Rows, min(m.FirstLine, r.FirstLine), m.more+1
				continue
			}
		}
		kept = append(kept, r)
	}
	for _, m := range more {
		m.Text = fmt.Sprintf("… and %d more", m.more)
		kept = append(kept, *m)
	}
	return kept
}

func namesOne(code string) bool {
	return strings.HasPrefix(code, "unknown_") && code != "unknown_column" || code == "pack"
}

// load reads the numbers given out so far.
func (v *vocabulary) load(ctx context.Context, st *store.Store) error {
	if err := st.Query(ctx, func(scan func(...any) error) error {
		var id int32
		var s string
		err := scan(&id, &s)
		v.words[s] = id
		return err
	}, "SELECT word_id, word FROM word"); err != nil {
		return err
	}
	if len(v.words) == 0 {
		v.word("") // number 0 is the blank
	}
	return st.Query(ctx, func(scan func(...any) error) error {
		var id int32
		var b bought
		var quantity *float64
		if err := scan(&id, &b.asRead, &b.pack, &b.packWord, &quantity, &b.baseUnit, &b.measured); err != nil {
			return err
		}
		if quantity != nil {
			b.quantity = *quantity
		}
		v.amounts[b] = id
		return nil
	}, "SELECT a.amount_id, a.as_read, w.word, a.pack, a.quantity, a.base_unit, a.is_measured FROM amount a JOIN word w ON w.word_id = a.pack")
}

// save adds the new texts and amounts to the database.
func (v *vocabulary) save(ctx context.Context, st *store.Store) error {
	var rows [][]any
	for i, s := range v.newWord {
		rows = append(rows, []any{int32(len(v.words) - len(v.newWord) + i), s})
	}
	if err := st.Append(ctx, "word", rows); err != nil {
		return err
	}
	rows = nil
	for _, b := range v.newPack {
		var quantity any
		if b.quantity > 0 {
			quantity = b.quantity
		}
		rows = append(rows, []any{b.id, b.asRead, b.packWord, quantity, b.baseUnit, b.measured})
	}
	v.newWord, v.newPack = nil, nil
	return st.Append(ctx, "amount", rows)
}
