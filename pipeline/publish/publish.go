// Package publish turns an edition into the site: the data files and pages are
// written beside, checked, and put in the place of the old site in one rename.
package publish

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"farthing/dashboards"
	"farthing/dashboards/catalogue"
	"farthing/pipeline/publish/takeaway"
	"farthing/pipeline/result"
	"farthing/pipeline/workspace"
)

// Run writes the site of an edition and makes it the current one. library is
// the chart library's file, "" where there is none.
func Run(w *workspace.Workspace, e *result.Edition, library string) error {
	tmp, err := os.MkdirTemp(e.Dir, "site-new-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(tmp)
	data := filepath.Join(tmp, "data")
	if err := os.Mkdir(data, 0o755); err != nil {
		return err
	}
	if err := e.WriteData(data); err != nil {
		return err
	}
	if err := linkOrCopy(filepath.Join(e.Dir, result.Observations), filepath.Join(data, result.Observations)); err != nil {
		return err
	}
	sums, err := result.Manifest(e.Dir)
	if err != nil {
		return err
	}
	if w.Pages.Draw {
		if err := takeaway.Write(data, e, map[string]string{result.Observations: sums[result.Observations]}); err != nil {
			return fmt.Errorf("files to take away: %w", err)
		}
		language, err := catalogue.New(w.Pages.Language, w.Pages.Forms)
		if err != nil {
			return err
		}
		if err := dashboards.Write(tmp, e, language, library, w.Drawings(), w.Pages.PNG); err != nil {
			return fmt.Errorf("pages: %w", err)
		}
	}
	hash, err := check(tmp, map[string]string{"data/" + result.Observations: sums[result.Observations]})
	if err != nil {
		return err
	}
	if err := os.Chmod(tmp, 0o755); err != nil {
		return err
	}
	site := filepath.Join(e.Dir, result.SiteName(hash))
	if err := os.Rename(tmp, site); err != nil && !errors.Is(err, fs.ErrExist) {
		if _, there := os.Stat(site); there != nil {
			return err
		}
	}
	if err := swap(w, site); err != nil {
		return err
	}
	return w.SetCurrentEdition(e.Hash)
}

// check walks what was written: no file is empty, and all have one hash. A
// file whose hash is known, being the edition's own, is not read again.
func check(dir string, known map[string]string) (string, error) {
	h := sha256.New()
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		rel, err := filepath.Rel(dir, path)
		if err != nil {
			return err
		}
		rel = filepath.ToSlash(rel)
		fmt.Fprintf(h, "%s %s\n", rel, known[rel])
		if known[rel] != "" {
			return nil
		}
		f, err := os.Open(path)
		if err != nil {
			return err
		}
		defer f.Close()
		n, err := io.Copy(h, f)
		if err == nil && n == 0 {
			err = fmt.Errorf("%s: written empty", rel)
		}
		return err
	})
	return hex.EncodeToString(h.Sum(nil)[:8]), err
}

// swap points the workspace's site at the new folder: a link where the system
// has links, replaced in one rename, else the folder itself.
func swap(w *workspace.Workspace, site string) error {
	target, err := filepath.Rel(w.Dir, site)
	if err != nil {
		return err
	}
	link := w.Site() + ".new"
	if err := os.RemoveAll(link); err != nil {
		return err
	}
	if err := os.Symlink(target, link); err == nil {
		if old, err := os.Lstat(w.Site()); err == nil && old.IsDir() {
			if err := os.RemoveAll(w.Site()); err != nil {
				return err
			}
		}
		return os.Rename(link, w.Site())
	}
	old := w.Site() + ".old"
	if err := errors.Join(os.RemoveAll(old), os.CopyFS(link, os.DirFS(site))); err != nil {
		return err
	}
	if err := os.Rename(w.Site(), old); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return errors.Join(os.Rename(link, w.Site()), os.RemoveAll(old))
}

func linkOrCopy(from, to string) error {
	if os.Link(from, to) == nil {
		return nil
	}
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.Create(to)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Close())
}
