package store

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"slices"
	"time"
)

// formatVersion numbers the format of the file. Raise it when a program of an
// earlier version would misread the file; a further table or column needs no
// new number, since a generation says what it holds.
const formatVersion = 1

const (
	headBucket     = "platewright"
	headKey        = "catalogue"
	editionsBucket = "editions"
)

// digest is a SHA-256 in hexadecimal.
type digest string

func digestOf(b []byte) digest {
	sum := sha256.Sum256(b)
	return digest(hex.EncodeToString(sum[:]))
}

// head is the record that a file starts with.
type head struct {
	Format         int    `json:"format"`
	Fold           int    `json:"fold"`    // catalog.FoldVersion of the keys
	Program        string `json:"program"` // that wrote the file
	Edition        int    `json:"edition"` // the head
	Digest         digest `json:"digest"`  // chained, of the head
	NextGeneration int    `json:"next_generation"`
}

// Edition is one whole state of the catalogue.
type Edition struct {
	Number   int       `json:"number"`
	Made     time.Time `json:"made"`
	Origin   string    `json:"origin"`             // what was imported
	Program  string    `json:"program"`            // that made it
	Parent   int       `json:"parent,omitempty"`   // the edition that it was made from, 0 for the first
	Restores int       `json:"restores,omitempty"` // the older edition that it brings back, 0 for none
	Tables   []TableOf `json:"tables"`             // in reading order; none once it has been dropped
	Dropped  bool      `json:"dropped,omitempty"`  // its rows are gone, only this record stays
	Digest   string    `json:"digest"`             // over the digest of the edition before it and all of this
}

// Rows tells how many rows the edition has in all.
func (e *Edition) Rows() int {
	n := 0
	for _, t := range e.Tables {
		n += t.Rows
	}
	return n
}

// TableOf is what an edition holds of one table.
type TableOf struct {
	Table      string `json:"table"`
	Generation int    `json:"generation"`
	Rows       int    `json:"rows"`
	Groups     int    `json:"groups"`
	Digest     string `json:"digest"` // of all cells of all rows in the order of their keys
}

func (e *Edition) table(name string) (TableOf, bool) {
	i := slices.IndexFunc(e.Tables, func(t TableOf) bool { return t.Table == name })
	if i < 0 {
		return TableOf{}, false
	}
	return e.Tables[i], true
}

// editionRecord is an edition as it is kept. The manifest's own digest is kept
// apart from the chained one, so that the chain can be followed across editions
// whose tables have been dropped.
type editionRecord struct {
	Edition
	Manifest digest `json:"manifest"`
	Before   digest `json:"before"` // chained digest of the edition before
}

// seal computes both digests of an edition that follows the one with the
// chained digest before.
func (r *editionRecord) seal(before digest) error {
	m, err := r.manifest()
	if err != nil {
		return err
	}
	r.Before, r.Manifest = before, m
	r.Digest = string(chain(before, m))
	return nil
}

func (r *editionRecord) manifest() (digest, error) {
	e := r.Edition
	e.Digest, e.Dropped = "", false
	b, err := json.Marshal(e)
	if err != nil {
		return "", fmt.Errorf("write the manifest of edition %d: %w", r.Number, err)
	}
	return digestOf(b), nil
}

func chain(before, manifest digest) digest {
	return digestOf([]byte(string(before) + "\n" + string(manifest)))
}

// verify tells what is wrong with the record of edition n, "" for nothing.
func (r *editionRecord) verify(n int) string {
	if r.Number != n {
		return fmt.Sprintf("the record of edition %d speaks of edition %d", n, r.Number)
	}
	if string(chain(r.Before, r.Manifest)) != r.Digest {
		return fmt.Sprintf("the digest of edition %d is wrong", n)
	}
	if !r.Dropped {
		if m, err := r.manifest(); err != nil || m != r.Manifest {
			return fmt.Sprintf("the manifest of edition %d does not match its digest", n)
		}
	}
	return ""
}

func editionKey(n int) []byte { return binary.BigEndian.AppendUint64(nil, uint64(n)) }
