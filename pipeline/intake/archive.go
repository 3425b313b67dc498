package intake

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sort"
	"strings"
	"time"
	"unicode"

	"farthing/pipeline/workspace"
)

// Descriptor says what an archived file is. It stands beside the file's bytes.
type Descriptor struct {
	SHA256   string `json:"sha256"`
	Name     string `json:"name"` // of the file as given
	Bytes    int64  `json:"bytes"`
	Source   string `json:"source"` // the [[source]] that reads it, "notes" for price notes
	Producer string `json:"producer,omitempty"`
	Licence  string `json:"licence,omitempty"`
	Address  string `json:"address,omitempty"`
	KeptOn   string `json:"kept_on"`
}

const descriptorFile = "descriptor.json"

// Path of the archived bytes.
func (d Descriptor) Path(w *workspace.Workspace) string {
	return filepath.Join(w.Archive(), d.SHA256, d.Name)
}

// keep copies a file byte for byte into the archive and says whether it was
// there already. The folder appears in one rename, bytes and descriptor together.
func keep(w *workspace.Workspace, path string, src workspace.Source, day time.Time) (d Descriptor, known bool, err error) {
	in, err := os.Open(path)
	if err != nil {
		return d, false, err
	}
	defer in.Close()
	if err := os.MkdirAll(w.Archive(), 0o755); err != nil {
		return d, false, err
	}
	tmp, err := os.MkdirTemp(w.Archive(), ".new-")
	if err != nil {
		return d, false, err
	}
	defer os.RemoveAll(tmp)
	name := safeName(filepath.Base(path))
	out, err := os.Create(filepath.Join(tmp, name))
	if err != nil {
		return d, false, err
	}
	h := sha256.New()
	n, err := io.Copy(io.MultiWriter(out, h), in)
	if err := errors.Join(err, out.Sync(), out.Close()); err != nil {
		return d, false, err
	}
	d = Descriptor{hex.EncodeToString(h.Sum(nil)), name, n, src.Name, src.Producer, src.Licence, src.Address, day.UTC().Format("2006-01-02")}
	dir := filepath.Join(w.Archive(), d.SHA256)
	if old, err := readDescriptor(dir); err == nil {
		if old.Source == src.Name {
			return old, true, nil
		}
		// The same bytes under a name that another profile reads: they were given the wrong one.
		d.KeptOn = old.KeptOn
		if err := workspace.Settle(old.Path(w), d.Path(w)); err != nil {
			return d, false, err
		}
		return d, false, d.write(dir)
	}
	if err := d.write(tmp); err != nil {
		return d, false, err
	}
	if err := os.Chmod(tmp, 0o755); err != nil {
		return d, false, err
	}
	return d, false, workspace.Settle(tmp, dir)
}

// safeName keeps a file's name where it can not be mistaken for a path or for the descriptor.
func safeName(name string) string {
	name = strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) || strings.ContainsRune(`/\:*?"<>|`, r) {
			return '_'
		}
		return r
	}, strings.ToValidUTF8(name, "_"))
	if name == "" || name[0] == '.' || name == descriptorFile {
		name = "file-" + name
	}
	return name
}

// intact says whether the bytes are still those of the hash.
func (d Descriptor) intact(w *workspace.Workspace) error {
	bad := func(read string) error {
		return &workspace.InputError{Code: "archive_damaged", File: "archive/" + d.SHA256 + "/" + d.Name, Read: read,
			Instead: "put the file back as it was, or take its whole folder out of the archive"}
	}
	f, err := os.Open(d.Path(w))
	if errors.Is(err, os.ErrNotExist) {
		return bad("the file is gone")
	}
	if err != nil {
		return err
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return err
	}
	if hex.EncodeToString(h.Sum(nil)) != d.SHA256 {
		return bad("its bytes are not those that were kept")
	}
	return nil
}

// write puts the descriptor beside the bytes.
func (d Descriptor) write(dir string) error {
	b, err := json.MarshalIndent(d, "", "  ")
	if err != nil {
		return err
	}
	return workspace.WriteFile(filepath.Join(dir, descriptorFile), append(b, '\n'))
}

func readDescriptor(dir string) (d Descriptor, err error) {
	b, err := os.ReadFile(filepath.Join(dir, descriptorFile))
	if err != nil {
		return d, err
	}
	return d, json.Unmarshal(b, &d)
}

// Archived lists what the archive holds, by hash.
func Archived(w *workspace.Workspace) ([]Descriptor, error) {
	dirs, err := os.ReadDir(w.Archive())
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	var list []Descriptor
	for _, e := range dirs {
		if !e.IsDir() || strings.HasPrefix(e.Name(), ".") {
			continue
		}
		d, errD := readDescriptor(filepath.Join(w.Archive(), e.Name()))
		if errD != nil {
			return nil, fmt.Errorf("archive/%s: %w", e.Name(), errD)
		}
		list = append(list, d)
	}
	sort.Slice(list, func(i, j int) bool { return list[i].SHA256 < list[j].SHA256 })
	return list, err
}
