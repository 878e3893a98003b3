package index

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"
)

// tryLock takes the lock on f if nobody holds it. It ends with the process or
// when f is closed. It covers one byte far behind the text in the file, so that
// others can read who holds it.
func tryLock(f *os.File) (bool, error) {
	at := windows.Overlapped{OffsetHigh: 1}
	err := windows.LockFileEx(windows.Handle(f.Fd()), windows.LOCKFILE_EXCLUSIVE_LOCK|windows.LOCKFILE_FAIL_IMMEDIATELY, 0, 1, 0, &at)
	switch {
	case err == nil:
		return true, nil
	case errors.Is(err, windows.ERROR_LOCK_VIOLATION):
		return false, nil
	}
	return false, err
}

// syncDir does nothing: a folder cannot be synced here, and NTFS journals a
// rename by itself.
func syncDir(string) error { return nil }
