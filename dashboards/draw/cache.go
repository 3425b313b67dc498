package draw

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
)

// cache is a folder of what the chart library drew, so that a figure which did not
// change is not drawn again by the next run. A file that is gone, or is not what was
// written, is drawn anew.
type cache struct {
	dir  string // "" keeps nothing
	salt string // of the library: another draws another picture
	mu   sync.Mutex
	used map[string]bool
}

func newCache(dir string, library ...string) (*cache, error) {
	k := &cache{dir: dir, salt: sumOf(library...), used: map[string]bool{}}
	if dir == "" {
		return k, nil
	}
	return k, os.MkdirAll(dir, 0o755)
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
func (k *cache) get(figure string, make func() (string, error)) (string, error) {
	if k.dir == "" {
		return make()
	}
	name := sumOf(k.salt, figure)
	k.mu.Lock()
	k.used[name] = true
	k.mu.Unlock()
	path := filepath.Join(k.dir, name)
	if b, err := os.ReadFile(path); err == nil {
		if sum, svg, ok := strings.Cut(string(b), "\n"); ok && sum == sumOf(svg) {
			return svg, nil
		}
	}
	svg, err := make()
	if err != nil {
		return "", err
	}
	half := path + ".new" // no other writer: a figure is made once a run, a workspace has one run
	if err := os.WriteFile(half, []byte(sumOf(svg)+"\n"+svg), 0o644); err != nil {
		return "", err
	}
	return svg, os.Rename(half, path)
}

// sweep throws away what the run did not ask for.
func (k *cache) sweep() error {
	if k.dir == "" {
		return nil
	}
	files, err := os.ReadDir(k.dir)
	for _, f := range files {
		if !k.used[f.Name()] {
			err = errors.Join(err, os.Remove(filepath.Join(k.dir, f.Name())))
		}
	}
	return err
}
