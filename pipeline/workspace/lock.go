package workspace

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"

	"github.com/gofrs/flock"
)

// ErrInUse says that another process works on the folder.
var ErrInUse = errors.New("workspace in use")

// Lock takes the folder for one writing command. It fails at once where
// another holds it, naming the holder.
func (w *Workspace) Lock(holder string) (release func(), err error) {
	path := w.path(".lock")
	l := flock.New(path)
	ok, err := l.TryLock()
	if err != nil {
		return nil, err
	}
	note := path + ".holder"
	if !ok {
		who := "another process"
		if b, err := os.ReadFile(note); err == nil {
			var h struct {
				PID     int
				Command string
			}
			if json.Unmarshal(b, &h) == nil {
				who = fmt.Sprintf("farthing %s (process %d)", h.Command, h.PID)
			}
		}
		return nil, fmt.Errorf("%w: %w", ErrInUse, &InputError{Code: "in_use", Read: "held by " + who, Instead: "wait for it to end and try again"})
	}
	b, _ := json.Marshal(struct {
		PID     int
		Command string
	}{os.Getpid(), holder})
	if err := errors.Join(os.WriteFile(note, b, 0o644), w.sweep()); err != nil {
		l.Unlock()
		return nil, err
	}
	return func() {
		os.Remove(note)
		l.Unlock()
	}, nil
}

// sweep removes what commands that were killed had half made. The caller holds
// the folder, so nobody is at it.
func (w *Workspace) sweep() error {
	var errs []error
	for _, pattern := range []string{"archive/.new-*", "editions/.new-*", "editions/*/site-new-*"} {
		half, err := fs.Glob(os.DirFS(w.Dir), pattern)
		errs = append(errs, err)
		for _, name := range half {
			errs = append(errs, os.RemoveAll(w.path(name)))
		}
	}
	return errors.Join(errs...)
}
