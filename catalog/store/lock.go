package store

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"
)

const (
	fileName = "catalog.db"
	lockName = "catalog.lock"
	newName  = fileName + ".new-"

	// lockWait is how long a writer waits for another one. Changes take longer
	// than that, so it only bridges the end of one.
	lockWait = 700 * time.Millisecond
)

// writeLock is held by the one process that changes the catalogue.
type writeLock struct{ f *os.File }

// lockFolder takes the write lock of the folder and removes what a killed
// writer left behind, which only the holder of the lock may do.
func lockFolder(ctx context.Context, dir string) (*writeLock, error) {
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return nil, err
	}
	l, err := lockFile(ctx, filepath.Join(dir, lockName), lockWait, ErrInUse)
	if err != nil {
		return nil, err
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, errors.Join(err, l.release())
	}
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), newName) {
			continue
		}
		if err := os.Remove(filepath.Join(dir, e.Name())); err != nil {
			return nil, errors.Join(fmt.Errorf("remove what an interrupted import left: %w", err), l.release())
		}
	}
	return l, nil
}

// lockFile takes the lock on a file; where another process holds it for longer
// than wait, the error is inUse with what is known of who it is.
func lockFile(ctx context.Context, path string, wait time.Duration, inUse error) (*writeLock, error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o666)
	if err != nil {
		return nil, err
	}
	const step = 20 * time.Millisecond
	for waited := time.Duration(0); ; waited += step {
		ok, err := tryLock(f)
		if err != nil {
			return nil, errors.Join(fmt.Errorf("lock %s: %w", path, err), f.Close())
		}
		if ok {
			break
		}
		if waited >= wait {
			who, _ := io.ReadAll(io.LimitReader(f, 100))
			err := inUse
			if s := strings.TrimSpace(string(who)); s != "" {
				err = fmt.Errorf("%w (%s)", inUse, s)
			}
			return nil, errors.Join(err, f.Close())
		}
		select {
		case <-ctx.Done():
			return nil, errors.Join(ctx.Err(), f.Close())
		case <-time.After(step):
		}
	}
	l := &writeLock{f}
	// Who holds the lock is only a help for people; a failure to say it is none.
	if f.Truncate(0) == nil {
		_, _ = f.WriteAt(fmt.Appendf(nil, "process %d\n", os.Getpid()), 0)
	}
	return l, nil
}

func (l *writeLock) release() error { return l.f.Close() }
