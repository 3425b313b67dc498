package main

import (
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"farthing/pipeline/workspace"
	"farthing/testdata"
)

// examples are the workspaces that init can start from.
var examples = []string{"demo", "us"}

// start writes a new workspace: an example's files, or the blank one's.
func start(dir, with string) error {
	if with == "" {
		with = "blank"
	} else if !slices.Contains(examples, with) {
		instead := "write one of " + strings.Join(examples, ", ")
		return usageError{fmt.Errorf("no example %q: %s", with, instead)}
	}
	from, err := fs.Sub(testdata.Files, with)
	if err != nil {
		return err
	}
	for _, d := range []string{"tables", "inbox", "archive", "editions"} {
		if err := os.MkdirAll(filepath.Join(dir, d), 0o755); err != nil {
			return err
		}
	}
	return fs.WalkDir(from, ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := fs.ReadFile(from, path)
		if err != nil {
			return err
		}
		return workspace.WriteFile(filepath.Join(dir, path), b)
	})
}
