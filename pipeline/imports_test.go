package pipeline

import (
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// allowed is every arrow between our packages, and which other modules a
// package may use. A new one is a decision.
var allowed = map[string][]string{
	"cmd/farthing": {"pipeline", "pipeline/compute", "pipeline/intake", "pipeline/kitchen", "pipeline/quantity", "pipeline/result", "pipeline/workspace", "testdata", "github.com/spf13/cobra"},
	"pipeline": {"pipeline/compute", "pipeline/index", "pipeline/intake", "pipeline/kitchen", "pipeline/publish", "pipeline/quantity", "pipeline/result", "pipeline/store", "pipeline/workspace", "queries",
		"github.com/robfig/cron/v3"},

	// The stages, in order of work.
	"pipeline/intake": {"pipeline/index", "pipeline/quantity", "pipeline/result", "pipeline/store", "pipeline/workspace", "queries",
		"github.com/apache/arrow/go/v17", "github.com/zeebo/xxh3", "golang.org/x/text"},
	"pipeline/kitchen": {"pipeline/diet", "pipeline/meal", "pipeline/quantity", "pipeline/reference", "pipeline/result", "pipeline/spreadsheet", "pipeline/workspace", "github.com/xuri/excelize/v2"},
	"pipeline/compute": {"pipeline/index", "pipeline/kitchen", "pipeline/quantity", "pipeline/result", "pipeline/store", "pipeline/workspace", "queries",
		"github.com/apache/arrow/go/v17"},
	"pipeline/publish":          {"dashboards", "dashboards/catalogue", "pipeline/publish/takeaway", "pipeline/result", "pipeline/workspace"},
	"pipeline/publish/takeaway": {"pipeline/result", "pipeline/spreadsheet", "github.com/apache/arrow/go/v17"},

	"pipeline/workspace": {"dashboards/catalogue", "pipeline/quantity", "pipeline/result", "github.com/gofrs/flock", "github.com/pelletier/go-toml/v2", "github.com/xuri/excelize/v2"},
	"pipeline/store":     {"queries", "database/sql", "github.com/apache/arrow/go/v17", "github.com/marcboeker/go-duckdb"},

	// Numbers in, numbers out.
	"pipeline/quantity": {},
	"pipeline/index":    {"gonum.org/v1/gonum"},
	"pipeline/meal":     {},
	"pipeline/lp":       {},
	"pipeline/diet":     {"pipeline/lp"},

	// Leaves: the standard library only.
	"pipeline/result": {},
	"queries":         {},
	"testdata":        {},

	// Rules of files for spreadsheets.
	"pipeline/spreadsheet": {"github.com/xuri/excelize/v2"},

	// Figures of foods in general, embedded.
	"pipeline/reference": {"pipeline/quantity"},

	// Results to pages: no database, no SQL.
	"dashboards": {"dashboards/catalogue", "dashboards/draw", "dashboards/layout", "pipeline/result"},
	// Texts, numbers and dates by language: a leaf that settings are checked against.
	"dashboards/catalogue": {"github.com/pelletier/go-toml/v2", "golang.org/x/text"},
	"dashboards/draw":      {"github.com/dop251/goja", "github.com/go-echarts/go-echarts/v2", "github.com/srwiley/oksvg", "github.com/srwiley/rasterx", "golang.org/x/image"},
	"dashboards/layout":    {},

	// Makers of data that is committed, no part of the program.
	"testdata/demo/generate": {},
}

func TestImports(t *testing.T) {
	files := map[string][]string{}
	fset := token.NewFileSet()
	if err := filepath.WalkDir("..", func(name string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && name != ".." && strings.HasPrefix(d.Name(), ".") {
			return fs.SkipDir
		}
		if !strings.HasSuffix(name, ".go") || strings.HasSuffix(name, "_test.go") {
			return nil
		}
		f, err := parser.ParseFile(fset, name, nil, parser.ImportsOnly)
		if err != nil {
			return err
		}
		pkg, err := filepath.Rel("..", filepath.Dir(name))
		for _, spec := range f.Imports {
			imported, _ := strconv.Unquote(spec.Path.Value)
			files[filepath.ToSlash(pkg)] = append(files[filepath.ToSlash(pkg)], imported)
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
	if len(files) < 10 {
		t.Fatalf("got %d packages: the walk went astray", len(files))
	}
	for _, said := range refused(files) {
		t.Error(said)
	}
}

// refused lists the arrows that the table does not have.
func refused(imports map[string][]string) (list []string) {
	for pkg, paths := range imports {
		may, known := allowed[pkg]
		if !known {
			list = append(list, pkg+": not in the table of allowed imports")
		}
		for _, p := range paths {
			own, ours := strings.CutPrefix(p, "farthing/")
			if first, _, _ := strings.Cut(p, "/"); !ours && !strings.Contains(first, ".") && first != "database" {
				continue // the standard library but for its door to databases
			}
			if !slices.ContainsFunc(may, func(m string) bool { return own == m || !ours && (p == m || strings.HasPrefix(p, m+"/")) }) {
				list = append(list, pkg+" imports "+p+": not in the table of allowed imports")
			}
		}
	}
	slices.Sort(list)
	return slices.Compact(list)
}

func TestRefusedArrows(t *testing.T) {
	for _, c := range []struct {
		pkg, imported string
		refused       bool
	}{
		{"dashboards", "farthing/pipeline/result", false},
		{"dashboards", "farthing/pipeline/store", true},
		{"dashboards", "farthing/queries", true},
		{"dashboards", "database/sql", true},
		{"pipeline/result", "encoding/csv", false},
		{"pipeline/result", "gonum.org/v1/gonum/mat", true},
		{"pipeline/index", "gonum.org/v1/gonum/mat", false},
		{"pipeline/index", "gonum.org/v1/gonumx", true},
		{"pipeline/index", "farthing/pipeline/result", true},
		{"pipeline/intake", "farthing/pipeline/compute", true},
		{"pipeline/intake", "farthing/pipeline", true},
		{"pipeline/publish", "farthing/pipeline/store", true},
		{"queries", "github.com/marcboeker/go-duckdb", true},
		{"new/package", "fmt", true},
	} {
		if got := refused(map[string][]string{c.pkg: {c.imported}}); (got != nil) != c.refused {
			t.Errorf("%s imports %s: got %q, want refused %v", c.pkg, c.imported, got, c.refused)
		}
	}
}
