package files

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/holdline/holdline/harness"
)

func readAtMost(r io.Reader, n int64) ([]byte, error) {
	return io.ReadAll(io.LimitReader(r, n))
}

// WriteFile writes a whole file or nothing: into a temporary file of the same
// folder, to the disk, then renamed. Without force a file that exists is left
// alone and the error says so.
func WriteFile(path string, data []byte, force bool) (err error) {
	if !force {
		if _, err := os.Lstat(path); err == nil {
			return existsError(path)
		}
	}
	tmp, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".*")
	if err != nil {
		return fmt.Errorf("%s: cannot be written: %s", path, harness.ReasonOf(err))
	}
	defer func() {
		tmp.Close()
		os.Remove(tmp.Name())
		if err != nil && !errors.Is(err, fs.ErrExist) {
			err = fmt.Errorf("%s: cannot be written: %s", path, harness.ReasonOf(err))
		}
	}()
	if _, err = tmp.Write(data); err != nil {
		return err
	}
	if err = complete(tmp); err != nil {
		return err
	}
	return place(tmp.Name(), path, force)
}

// Finish gives a temporary file of the same folder its name, in place of what had it,
// once all of it is on the disk. It closes the file; where it fails, the file stays
// under its own name.
func Finish(tmp *os.File, path string) error {
	if err := complete(tmp); err != nil {
		return err
	}
	return place(tmp.Name(), path, true)
}

func complete(tmp *os.File) error {
	return errors.Join(tmp.Chmod(0o644), tmp.Sync(), tmp.Close())
}

// place moves the finished file to its name. Without force it uses a link,
// which fails if another process has made the file meanwhile; where the file
// system has no links the earlier check has to do.
func place(tmp, path string, force bool) error {
	if !force {
		err := os.Link(tmp, path)
		if err == nil {
			return syncFolder(path)
		}
		if errors.Is(err, fs.ErrExist) {
			return existsError(path)
		}
	}
	if err := harness.Rename(tmp, path); err != nil {
		return err
	}
	return syncFolder(path)
}

func existsError(path string) error {
	return fmt.Errorf("%s: %w; give --force to overwrite it", path, fs.ErrExist)
}

// syncFolder makes the new name durable where the system lets a folder be
// synced; elsewhere the file's own sync has to do.
func syncFolder(path string) error {
	dir, err := os.Open(filepath.Dir(path))
	if err != nil {
		return nil
	}
	dir.Sync()
	return dir.Close()
}

// Beside resolves a path that a file names: from that file's folder, whatever the
// folder that the program runs in.
func Beside(file, path string) string {
	path = filepath.FromSlash(path)
	if filepath.IsAbs(path) {
		return filepath.Clean(path)
	}
	return filepath.Join(filepath.Dir(file), path)
}
