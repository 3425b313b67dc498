package workspace

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"syscall"
)

// WriteFile writes beside and renames, so that a reader sees the old file or the new one.
func WriteFile(path string, b []byte) error {
	f, err := os.CreateTemp(filepath.Dir(path), ".new-*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name())
	_, err = f.Write(b)
	if err := errors.Join(err, f.Sync(), f.Close(), os.Chmod(f.Name(), 0o644)); err != nil {
		return err
	}
	return Settle(f.Name(), path)
}

// Settle gives a file or folder that was written beside its name, in one
// rename. Once it returns, a loss of power takes neither the name nor anything
// below it; before, it may take the name, but never leaves one with less below.
func Settle(from, to string) error {
	if err := filepath.WalkDir(from, func(path string, _ fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		return onDisk(path)
	}); err != nil {
		return err
	}
	if err := os.Rename(from, to); err != nil {
		return err
	}
	return onDisk(filepath.Dir(to))
}

var fsync = (*os.File).Sync

// onDisk waits until a file's bytes, or the names in a folder, are on the disk.
func onDisk(path string) error {
	if runtime.GOOS == "windows" {
		return nil // has no such call for a folder, nor for a file opened to be read
	}
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	if err = fsync(f); errors.Is(err, syscall.EINVAL) {
		err = nil // a file system that keeps no folder this way
	}
	return errors.Join(err, f.Close())
}
