package pipeline

import (
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// TestNamesLast: what is kept or computed gets its name by workspace.Settle
// alone, so that it outlasts a loss of power.
func TestNamesLast(t *testing.T) {
	free := map[string]bool{
		"workspace/settle.go": true,
		"publish/publish.go":  true, // a site is made again from its edition
		"pipeline.go":         true, // the database alone: a cache
	}
	call := regexp.MustCompile(`\bos\.Rename\(`)
	settles := 0
	if err := fs.WalkDir(os.DirFS("."), ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || filepath.Ext(name) != ".go" || strings.HasSuffix(name, "_test.go") {
			return err
		}
		b, err := os.ReadFile(name)
		settles += strings.Count(string(b), "workspace.Settle(")
		for i, line := range strings.Split(string(b), "\n") {
			if call.MatchString(line) && !free[name] {
				t.Errorf("%s:%d: %s; workspace.Settle gives a name that lasts", name, i+1, strings.TrimSpace(line))
			}
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
	if settles < 3 { // the archive's folder and its file of another name, the edition
		t.Errorf("%d calls of workspace.Settle, want three or more", settles)
	}
}
