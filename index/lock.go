package index

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"time"
)

// errHeld says that another process held the lock for the whole wait, errReady
// that it finished what was wanted.
var (
	errHeld  = errors.New("another process builds the index")
	errReady = errors.New("another process has built the index")
)

const lockName = "lock"

// buildLock is held by the one process that builds indexes in a folder.
type buildLock struct{ f *os.File }

// lockFolder takes the lock, and gives up after wait. While it waits it asks
// ready whether that is still needed.
func lockFolder(ctx context.Context, root string, wait time.Duration, ready func() bool) (*buildLock, error) {
	f, err := os.OpenFile(filepath.Join(root, lockName), os.O_RDWR|os.O_CREATE, 0o666)
	if err != nil {
		return nil, err
	}
	const step = 25 * time.Millisecond
	for waited := time.Duration(0); ; waited += step {
		ok, err := tryLock(f)
		if err != nil {
			return nil, errors.Join(err, f.Close())
		}
		if ok {
			return &buildLock{f}, nil
		}
		if waited > 0 && ready() {
			return nil, errors.Join(errReady, f.Close())
		}
		if waited >= wait {
			return nil, errors.Join(errHeld, f.Close())
		}
		select {
		case <-ctx.Done():
			return nil, errors.Join(ctx.Err(), f.Close())
		case <-time.After(step):
		}
	}
}

func (l *buildLock) release() { _ = l.f.Close() } // the lock ends with the file in any case
