package draw

import (
	"crypto/sha256"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
)

// cache is a folder of what the chart library drew, so that a figure which did not
// change is not drawn again by the next run. It can only save time: a file that is
// gone, is not what was written or can not be written is a figure drawn anew.
type cache struct {
	dir  string // "" keeps nothing
	salt string // of what draws: another draws another picture
}

func newCache(dir string, drawers ...string) cache {
	if dir == "" || os.MkdirAll(dir, 0o755) != nil {
		return cache{}
	}
	return cache{dir, sumOf(drawers...)}
}

func sumOf(parts ...string) string {
	h := sha256.New()
	for _, p := range parts {
		part := sha256.Sum256([]byte(p))
		h.Write(part[:])
	}
	return fmt.Sprintf("%x", h.Sum(nil))
}

// get gives the drawing of a figure, or makes it and keeps it. A file holds the sum
// of the drawing, then the drawing.
func (c cache) get(figure string, make func() (string, error)) (string, error) {
	if c.dir == "" {
		return make()
	}
	path := filepath.Join(c.dir, sumOf(c.salt, figure))
	if b, err := os.ReadFile(path); err == nil {
		if sum, svg, ok := strings.Cut(string(b), "\n"); ok && sum == sumOf(svg) {
			return svg, nil
		}
	}
	svg, err := make()
	if err == nil && os.WriteFile(path+".new", []byte(sumOf(svg)+"\n"+svg), 0o644) == nil {
		_ = os.Rename(path+".new", path) // what is not kept is drawn again
	}
	return svg, err
}

// ours are the names of a cache's files.
var ours = regexp.MustCompile(`^[0-9a-f]{64}(\.new)?$`)

// sweep throws away what the cache kept of other figures. What else is in its folder
// is not its own.
func (c cache) sweep(figures []string) {
	if c.dir == "" {
		return
	}
	asked := map[string]bool{}
	for _, f := range figures {
		asked[sumOf(c.salt, f)] = true
	}
	files, _ := os.ReadDir(c.dir)
	for _, f := range files {
		if f.Type().IsRegular() && ours.MatchString(f.Name()) && !asked[f.Name()] {
			_ = os.Remove(filepath.Join(c.dir, f.Name())) // else the next run tries again
		}
	}
}
