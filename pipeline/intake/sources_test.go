package intake

import (
	"context"
	"os"
	"path/filepath"
	"testing"
	"time"

	"farthing/pipeline/store"
	"farthing/pipeline/workspace"
)

const sourcesDir = "../../testdata/sources"

// taken is what one intake of files made.
type taken struct {
	*testing.T
	w    *workspace.Workspace
	st   *store.Store
	file map[string]FileReport // by name
	all  *Report
}

// takeIn takes files into a new workspace with the settings and tables of a
// family, and checks that no row is lost.
func takeIn(t *testing.T, family string, files ...string) *taken {
	t.Helper()
	dir := t.TempDir()
	if err := os.CopyFS(dir, os.DirFS(filepath.Join(sourcesDir, family))); err != nil {
		t.Fatal(err)
	}
	w, err := workspace.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	tables, err := w.Tables()
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := Keep(w, files, time.Date(2024, 5, 1, 0, 0, 0, 0, time.UTC)); err != nil {
		t.Fatal(err)
	}
	ctx := context.Background()
	st, err := store.Open(ctx, "")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { st.Close() })
	k := &taken{T: t, w: w, st: st, file: map[string]FileReport{}}
	if err := st.Tx(ctx, func() (err error) { k.all, err = Load(ctx, st, w, tables, false); return err }); err != nil {
		t.Fatal(err)
	}
	for _, f := range k.all.Files {
		k.file[f.Path] = f
		if f.Read != f.Accepted+f.Quarantined+f.Duplicate {
			t.Errorf("%s: got %d read, %d accepted, %d quarantined, %d duplicate: no sum", f.Path, f.Read, f.Accepted, f.Quarantined, f.Duplicate)
		}
		n := 0
		for _, r := range f.Reasons {
			n += r.Rows
		}
		if n != f.Quarantined {
			t.Errorf("%s: got reasons for %d rows, want %d", f.Path, n, f.Quarantined)
		}
		if g := f.Gives(k); g == "quotes" || g == "averages" || g == "notes" {
			if stored := k.number("SELECT count(*) FROM obs_price p JOIN file f USING (file_id) WHERE f.sha256 = ?", f.SHA256); stored != float64(f.Accepted) {
				t.Errorf("%s: got %v rows stored, want the %d accepted", f.Path, stored, f.Accepted)
			}
		}
	}
	return k
}

// Gives is what the file's source gives.
func (f FileReport) Gives(k *taken) string {
	return (&lexicon{settings: k.w.Settings}).source(filepath.Base(f.Path)).Gives
}

// number is the one figure of a query.
func (k *taken) number(query string, args ...any) (x float64) {
	k.Helper()
	if err := k.st.Query(context.Background(), func(scan func(...any) error) error { return scan(&x) }, "SELECT CAST(("+query+") AS DOUBLE)", args...); err != nil {
		k.Fatal(err)
	}
	return x
}

// rows of a code are how many rows of a file were set aside for it.
func (f FileReport) rows(code string) (n int) {
	for _, r := range f.Reasons {
		if r.Code == code {
			n += r.Rows
		}
	}
	return n
}
