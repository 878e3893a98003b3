package store

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"time"

	"platewright/catalog"
)

// ChangeOptions say how editions are changed.
type ChangeOptions struct {
	Now      time.Time // when the edition is made
	Program  string    // program and version that make it
	Progress func(Progress)
}

func (o ChangeOptions) tell(p Progress) {
	if o.Progress != nil {
		o.Progress(p)
	}
}

// Restore makes a new edition that holds what edition n holds. The editions
// between stay. The error is an [*EditionError] if n cannot be had or is the
// head already, else one of those of [Import].
func Restore(ctx context.Context, dir string, n int, opts ChangeOptions) (Edition, error) {
	var e Edition
	err := change(ctx, dir, func(b *build) error {
		if b.head.store == nil {
			return &MissingError{b.path, mendMissing}
		}
		if n == b.head.Edition {
			return &EditionError{n, "it is the newest one already", "nothing needs to be restored"}
		}
		old, err := b.head.store.Edition(n)
		if err != nil {
			return err
		}
		from := old.Edition()
		if err := old.Close(); err != nil {
			return err
		}
		e = Edition{Made: opts.Now, Origin: from.Origin, Program: opts.Program, Parent: b.head.Edition, Restores: n, Tables: from.Tables}
		return b.complete(&e, nil, opts.tell)
	})
	if err != nil {
		return Edition{}, err
	}
	return e, nil
}

// Drop lets the rows of older editions go, as far as no other edition holds
// them, and makes the file that much smaller. The list of editions keeps their
// records. The newest edition cannot be dropped. An edition that has been
// dropped before is no error.
func Drop(ctx context.Context, dir string, numbers []int, opts ChangeOptions) error {
	return change(ctx, dir, func(b *build) error {
		if b.head.store == nil {
			return &MissingError{b.path, mendMissing}
		}
		records, err := b.head.store.records()
		if err != nil {
			return err
		}
		drop := map[int]bool{}
		for _, n := range numbers {
			switch {
			case n < 1 || n > b.head.Edition:
				return &EditionError{n, "there is no such edition", fmt.Sprintf("name one from 1 to %d", b.head.Edition)}
			case n == b.head.Edition:
				return &EditionError{n, "it is the newest one", "restore another one first, then drop this"}
			}
			if !records[n-1].Dropped {
				drop[n] = true
			}
		}
		if len(drop) == 0 {
			return nil
		}
		return b.complete(nil, drop, opts.tell)
	})
}

// Compare calls each for every row that differs between edition from and
// edition to, in the order of tables and keys. An error of each ends it, apart
// from [ErrSkipTable].
func (s *Store) Compare(ctx context.Context, from, to int, each func(Change) error) (err error) {
	a, err := s.Edition(from)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, a.Close()) }()
	b, err := s.Edition(to)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, b.Close()) }()
	for _, t := range catalog.Tables() {
		x, inA := a.edition.table(t.Name)
		y, inB := b.edition.table(t.Name)
		if inA == inB && x.Digest == y.Digest {
			continue // the same rows, even if in two generations
		}
		old, now := cellCursor{t: t}, cellCursor{t: t}
		if inA {
			old.v = a
		}
		if inB {
			now.v = b
		}
		if err := compareTable(ctx, t, &old, &now, each); err != nil && !errors.Is(err, ErrSkipTable) {
			return err
		}
	}
	return nil
}

func compareTable(ctx context.Context, t *catalog.Table, old, now *cellCursor, each func(Change) error) error {
	if err := errors.Join(old.next(), now.next()); err != nil {
		return err
	}
	for n := 1; old.rec != nil || now.rec != nil; n++ {
		if n%progressRows == 0 {
			if err := ctx.Err(); err != nil {
				return err
			}
		}
		c := 1
		switch {
		case now.rec == nil:
			c = -1
		case old.rec != nil:
			c = compareKeys(old.rec, now.rec)
		}
		var err error
		switch {
		case c < 0:
			err = each(makeChange(t, Went, old.rec, nil))
		case c > 0:
			err = each(makeChange(t, Came, nil, now.rec))
		case !slices.Equal(old.rec.text, now.rec.text):
			err = each(makeChange(t, Changed, old.rec, now.rec))
		}
		if err == nil && c <= 0 {
			err = old.next()
		}
		if err == nil && c >= 0 {
			err = now.next()
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// Backup writes a checked copy of the catalogue to path, while others read and
// even change it: the copy holds the editions that s knows. A file that is
// there already is replaced only once the copy is complete.
func (s *Store) Backup(ctx context.Context, path string) (err error) {
	f, err := os.CreateTemp(filepath.Dir(path), filepath.Base(path)+".new-*")
	if err != nil {
		return err
	}
	tmp := f.Name()
	defer func() {
		if err != nil {
			err = errors.Join(err, removeIfThere(tmp))
		}
	}()
	if err := errors.Join(s.copyTo(f), f.Sync(), f.Close()); err != nil {
		return fmt.Errorf("write the backup: %w", err)
	}
	if err := verifyNew(ctx, tmp, s.head, func(Progress) {}); err != nil {
		return fmt.Errorf("check the backup: %w", err)
	}
	if err := os.Rename(tmp, path); err != nil {
		return fmt.Errorf("put the backup in place: %w", err)
	}
	return syncDir(filepath.Dir(path))
}

func (s *Store) copyTo(w io.Writer) (err error) {
	tx, err := s.db.Begin(false)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, tx.Rollback()) }()
	_, err = tx.WriteTo(w)
	return err
}

func removeIfThere(path string) error {
	if err := os.Remove(path); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	return nil
}
