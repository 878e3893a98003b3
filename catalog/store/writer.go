package store

import (
	"bytes"
	"errors"
	"os"

	bolt "go.etcd.io/bbolt"
)

const (
	// pageSize is the size of the file's pages. Four times bbolt's usual one
	// keeps the branch pages few, which are read when a bucket is first used,
	// and lets small buckets lie inside their parent's page.
	pageSize = 16 << 10

	// batchBytes is how much is put before it is committed.
	batchBytes = 8 << 20
)

// fileWriter fills a new bbolt file in batches. Nothing is synced before the
// end: until the file is renamed nobody reads it, and what a crash leaves of it
// is removed.
type fileWriter struct {
	db    *bolt.DB
	tx    *bolt.Tx
	epoch int // counts the batches; buckets of an earlier one are dead
	bytes int
	arena []byte
}

func createFile(path string) (*fileWriter, error) {
	db, err := bolt.Open(path, 0o666, &bolt.Options{
		NoSync: true, NoGrowSync: true, NoStatistics: true, PageSize: pageSize, Timeout: lockWait,
		// The file must not be taken over if it is there already.
		OpenFile: func(name string, flag int, perm os.FileMode) (*os.File, error) {
			return os.OpenFile(name, flag|os.O_EXCL, perm)
		},
	})
	if err != nil {
		return nil, err
	}
	db.AllocSize = 4 << 20
	w := &fileWriter{db: db}
	if err := w.begin(); err != nil {
		return nil, errors.Join(err, db.Close())
	}
	return w, nil
}

func (w *fileWriter) begin() (err error) {
	w.tx, err = w.db.Begin(true)
	w.epoch++
	w.bytes = 0
	w.arena = w.arena[:0]
	return err
}

func (w *fileWriter) commit() error {
	tx := w.tx
	w.tx = nil
	if err := tx.Commit(); err != nil {
		_ = tx.Rollback() // where Commit has not done so itself; it then says only that
		return err
	}
	return w.begin()
}

// alloc gives n bytes that last until the batch is committed.
func (w *fileWriter) alloc(n int) []byte {
	if cap(w.arena)-len(w.arena) < n {
		// The values of the batch so far keep the old piece alive.
		w.arena = make([]byte, 0, max(1<<20, n))
	}
	at := len(w.arena)
	w.arena = w.arena[:at+n]
	return w.arena[at : at+n : at+n]
}

// bucket opens or makes a bucket for appending.
func (w *fileWriter) bucket(name string) (*bolt.Bucket, error) {
	b, err := w.tx.CreateBucketIfNotExists([]byte(name))
	if err != nil {
		return nil, err
	}
	b.FillPercent = 1 // nothing is ever put between
	return b, nil
}

func (w *fileWriter) added(n int) error {
	w.bytes += n
	if w.bytes < batchBytes {
		return nil
	}
	return w.commit()
}

// put writes a single record.
func (w *fileWriter) put(bucket string, key, value []byte) error {
	b, err := w.bucket(bucket)
	if err != nil {
		return err
	}
	if err := b.Put(key, value); err != nil {
		return err
	}
	return w.added(len(key) + len(value))
}

// drop removes a generation written by this writer.
func (w *fileWriter) drop(generation string) error {
	var names [][]byte
	prefix := []byte(partName(generation, ""))
	c := w.tx.Cursor()
	for k, _ := c.Seek(prefix); bytes.HasPrefix(k, prefix); k, _ = c.Next() {
		names = append(names, bytes.Clone(k))
	}
	for _, n := range names {
		if err := w.tx.DeleteBucket(n); err != nil {
			return err
		}
	}
	return w.commit()
}

// abandon closes the file without completing it.
func (w *fileWriter) abandon() error {
	var err error
	if w.tx != nil {
		err = w.tx.Rollback()
		w.tx = nil
	}
	return errors.Join(err, w.db.Close())
}

// finish commits what is left twice, so that each of the two head pages of the
// file leads to the whole content, cuts the file to its last page and syncs it.
func (w *fileWriter) finish(head []byte) error { return w.finishAs(headKey, head) }

// finishAs is finish for a head record of another name.
func (w *fileWriter) finishAs(key string, head []byte) error {
	for range 2 {
		b, err := w.bucket(headBucket)
		if err != nil {
			return errors.Join(err, w.abandon())
		}
		if err := b.Put([]byte(key), head); err != nil {
			return errors.Join(err, w.abandon())
		}
		if err := w.commit(); err != nil {
			return errors.Join(err, w.abandon())
		}
	}
	size := w.tx.Size()
	path := w.db.Path()
	if err := w.abandon(); err != nil {
		return err
	}
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	err = f.Truncate(size)
	if err == nil {
		err = f.Sync()
	}
	return errors.Join(err, f.Close())
}
