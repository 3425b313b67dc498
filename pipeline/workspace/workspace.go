// Package workspace is a user's folder: its layout, its settings, its tables
// and its lock. It reads them strictly and says exactly what is wrong; it
// knows nothing of prices.
package workspace

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sort"
	"strings"
)

// Workspace is an opened folder.
type Workspace struct {
	Dir string
	Settings
	// texts are the settings and tables as they were first read: what was
	// parsed, hashed and kept is one text, whatever is edited meanwhile.
	texts map[string]text
}

type text struct {
	bytes []byte
	err   error
}

// Open reads the settings of the folder.
func Open(dir string) (*Workspace, error) {
	w := &Workspace{Dir: dir, texts: map[string]text{}}
	path := w.path(SettingsFile)
	b, err := w.Text(SettingsFile)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, &InputError{Code: "no_workspace", File: path, Read: "no such file",
			Instead: "name a workspace with --workspace DIR, or make one: farthing init DIR"}
	}
	if err != nil {
		return nil, err
	}
	if w.Settings, err = parseSettings(b); err != nil {
		return nil, err
	}
	return w, nil
}

// Text is a file of settings or tables, named from the folder, as it was when
// it was first asked for.
func (w *Workspace) Text(name string) ([]byte, error) {
	t, ok := w.texts[name]
	if !ok {
		t.bytes, t.err = os.ReadFile(filepath.Join(w.Dir, name))
		if w.texts != nil {
			w.texts[name] = t
		}
	}
	return t.bytes, t.err
}

// The layout of the folder.
const SettingsFile = "farthing.toml"

func (w *Workspace) path(parts ...string) string {
	return filepath.Join(append([]string{w.Dir}, parts...)...)
}
func (w *Workspace) TablesDir() string   { return w.path("tables") }
func (w *Workspace) Inbox() string       { return w.path("inbox") }
func (w *Workspace) Archive() string     { return w.path("archive") }
func (w *Workspace) EditionsDir() string { return w.path("editions") }
func (w *Workspace) Site() string        { return w.path("site") }
func (w *Workspace) Database() string    { return w.path("farthing.duckdb") }

// Drawings is what the chart library drew for the last site: a cache.
func (w *Workspace) Drawings() string    { return w.path(".drawings") }
func (w *Workspace) currentFile() string { return w.path("editions", "current") }

// CurrentEdition is the folder of the edition last published.
func (w *Workspace) CurrentEdition() (string, error) {
	b, err := os.ReadFile(w.currentFile())
	if errors.Is(err, fs.ErrNotExist) {
		return "", &InputError{Code: "no_edition", File: w.currentFile(), Read: "nothing is published yet",
			Instead: "run: farthing run"}
	}
	if err != nil {
		return "", err
	}
	return w.path("editions", strings.TrimSpace(string(b))), nil
}

// SetCurrentEdition names the published edition, in one rename.
func (w *Workspace) SetCurrentEdition(hash string) error {
	return WriteFile(w.currentFile(), []byte(hash+"\n"))
}

// HashFiles is one hash of the named files of the folder, by name and content;
// a missing file counts as such.
func (w *Workspace) HashFiles(names ...string) (string, error) {
	sort.Strings(names)
	h := sha256.New()
	for _, name := range names {
		b, err := w.Text(name)
		switch {
		case errors.Is(err, fs.ErrNotExist):
			fmt.Fprintf(h, "%s absent\n", name)
		case err != nil:
			return "", err
		default:
			fmt.Fprintf(h, "%s %x\n", name, sha256.Sum256(b))
		}
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

// InputError is a fault in something that a person typed or gave: where it
// stands, what was read, and what to type instead.
type InputError struct {
	Code    string `json:"code"`
	File    string `json:"file"`
	Line    int    `json:"line"`
	Field   string `json:"field"`
	Read    string `json:"read"`
	Instead string `json:"instead"`
}

func (e *InputError) Error() string {
	var b strings.Builder
	if e.File != "" {
		b.WriteString(e.File)
		if e.Line > 0 {
			fmt.Fprintf(&b, ":%d", e.Line)
		}
		b.WriteString(": ")
	}
	if e.Field != "" {
		fmt.Fprintf(&b, "%s: ", e.Field)
	}
	b.WriteString(e.Read)
	if e.Instead != "" {
		b.WriteString("; " + e.Instead)
	}
	return b.String()
}

// InputErrors are all faults of input in a tree of errors.
func InputErrors(err error) (list []*InputError) {
	switch e := err.(type) {
	case *InputError:
		return []*InputError{e}
	case interface{ Unwrap() []error }:
		for _, one := range e.Unwrap() {
			list = append(list, InputErrors(one)...)
		}
	case interface{ Unwrap() error }:
		return InputErrors(e.Unwrap())
	}
	return list
}
