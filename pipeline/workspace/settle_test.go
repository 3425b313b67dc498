package workspace

import (
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"testing"
)

// TestSettle holds the order of fsync(2), "calling fsync() does not
// necessarily ensure that the entry in the directory containing the file has
// also reached disk; for that an explicit fsync() on a file descriptor for the
// directory is also needed": all below, then the name, then its folder.
func TestSettle(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("no such call there")
	}
	defer func() { fsync = (*os.File).Sync }()
	dir := t.TempDir()
	from, to := filepath.Join(dir, "beside"), filepath.Join(dir, "name")
	if err := errors.Join(os.MkdirAll(filepath.Join(from, "data"), 0o755), os.WriteFile(filepath.Join(from, "data", "a.csv"), []byte("a\n"), 0o644)); err != nil {
		t.Fatal(err)
	}
	var did []string
	fail := ""
	fsync = func(f *os.File) error {
		rel, _ := filepath.Rel(dir, f.Name())
		if _, err := os.Stat(to); err == nil {
			rel += " named"
		}
		if did = append(did, rel); rel == fail {
			return errors.New("no room")
		}
		return f.Sync()
	}
	fail = "beside/data/a.csv"
	if err := Settle(from, to); err == nil {
		t.Error("a file that does not reach the disk: got no error")
	}
	if _, err := os.Stat(to); err == nil {
		t.Error("a file that does not reach the disk: the folder has its name all the same")
	}
	did, fail = nil, ""
	if err := Settle(from, to); err != nil {
		t.Fatal(err)
	}
	if want := []string{"beside", "beside/data", "beside/data/a.csv", ". named"}; !slices.Equal(did, want) {
		t.Errorf("got %q, want %q", did, want)
	}
	did, fail = nil, ". named"
	if err := WriteFile(filepath.Join(dir, "current"), []byte("x\n")); err == nil || len(did) != 2 {
		t.Errorf("a folder that does not reach the disk: got %v after %q, want an error after the file and the folder", err, did)
	}
}
