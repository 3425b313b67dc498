package pipeline

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"farthing/pipeline/intake"
	"farthing/pipeline/result"
	"farthing/pipeline/workspace"
)

// Status is how a workspace stands, read from its files alone, so that it
// never waits for a running job.
type Status struct {
	Schema      string            `json:"schema"`
	Edition     *string           `json:"edition"`
	NewestOn    *string           `json:"newest_on"`
	AgeDays     *int              `json:"age_days"` // from newest_on to today
	Accepted    int               `json:"accepted"`
	Quarantined int               `json:"quarantined"`
	Mended      int               `json:"mended"` // of the quarantined
	Duplicate   int               `json:"duplicate"`
	Held        int               `json:"held"`
	Waiting     []string          `json:"waiting"` // files in the inbox
	Changed     []string          `json:"changed"` // tables and settings that differ from the edition's
	Off         []workspace.Off   `json:"off"`
	Jobs        []JobStatus       `json:"jobs"`
	SetAside    []result.SetAside `json:"-"`
	Warnings    []result.Warning  `json:"warnings"`
}

// StatusOf reads the status.
func StatusOf(w *workspace.Workspace, now time.Time) (*Status, error) {
	s := &Status{Schema: "farthing.status/1", Waiting: []string{}, Changed: []string{}, Off: []workspace.Off{}, Jobs: []JobStatus{}, Warnings: []result.Warning{}}
	inbox, err := intake.InboxFiles(w)
	if err != nil {
		return nil, err
	}
	for _, p := range inbox {
		s.Waiting = append(s.Waiting, filepath.Base(p))
	}
	jobs, err := Jobs(w, now)
	if err != nil {
		return nil, err
	}
	for _, j := range jobs {
		s.Jobs = append(s.Jobs, j.JobStatus)
		if text, cure := j.warning(); text != "" {
			s.Warnings = append(s.Warnings, result.Warning{Code: "job", Text: text, Cure: cure, Key: j.Job})
		}
	}
	t, err := w.Tables()
	if err != nil {
		return nil, err
	}
	s.Off = append(s.Off, t.Off...)
	dir, err := w.CurrentEdition()
	if err != nil {
		s.Warnings = append(s.Warnings, result.Warning{Code: "no_edition", Text: "nothing is published yet", Cure: "run: farthing run"})
		return s, nil
	}
	e, err := result.Load(dir)
	if err != nil {
		return nil, err
	}
	s.Edition, s.NewestOn = &e.Hash, &e.AsOf
	if newest, err := workspace.ParseDay(e.AsOf); err == nil {
		days := int(now.UTC().Truncate(24*time.Hour).Sub(newest).Hours() / 24)
		s.AgeDays = &days
	}
	s.Accepted, s.Quarantined, s.Mended, s.Duplicate, s.Held = e.Accepted, e.Quarantined, e.Mended, e.Duplicate, e.Held
	s.SetAside = e.SetAside
	s.Warnings = append(s.Warnings, e.Warnings...)
	s.Changed, err = changedSince(w, dir)
	return s, err
}

// changedSince names the tables and settings that are not as the edition has them.
func changedSince(w *workspace.Workspace, dir string) ([]string, error) {
	changed := []string{}
	for _, name := range w.EditionFiles() {
		now, err := w.Kept(name)
		if err != nil {
			return nil, err
		}
		if then, err := os.ReadFile(filepath.Join(dir, name)); err != nil || !bytes.Equal(now, then) {
			changed = append(changed, name)
		}
	}
	return changed, nil
}

// Difference is a file of an edition that came out otherwise when it was made again.
type Difference struct {
	File string `json:"file"`
	Was  string `json:"was"`
	Is   string `json:"is"`
}

// Compare lists the files whose hashes differ between two editions.
func Compare(w *workspace.Workspace, was, is string) ([]Difference, error) {
	a, err := result.Manifest(filepath.Join(w.EditionsDir(), was))
	if err != nil {
		return nil, fmt.Errorf("edition %s: %w", was, err)
	}
	b, err := result.Manifest(filepath.Join(w.EditionsDir(), is))
	if err != nil {
		return nil, fmt.Errorf("edition %s: %w", is, err)
	}
	list := []Difference{}
	for _, name := range sortedKeys(a, b) {
		if a[name] != b[name] {
			list = append(list, Difference{name, a[name], b[name]})
		}
	}
	return list, nil
}
