package audit

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"time"
)

// AcceptedFile is the name of the file in the shop's folder that holds what has
// been accepted: JSON lines, one for each time that somebody accepted a finding or
// took that back. Lines are only ever added.
const AcceptedFile = "audit-accepted.jsonl"

// AcceptedPath gives the path of that file in the shop's folder.
func AcceptedPath(dir string) string { return filepath.Join(dir, AcceptedFile) }

// Acceptance says that a person has looked at a finding and lets it stand. It
// holds until the finding changes: then it has another identifier.
type Acceptance struct {
	ID      string    `json:"id"`
	Kind    Kind      `json:"kind"`
	What    string    `json:"what"`    // the row that the finding rested on, for a person
	Because string    `json:"because"` // the reason
	Who     string    `json:"who"`
	At      time.Time `json:"at"`
	Revoked bool      `json:"revoked,omitempty"` // the acceptance is taken back
}

// Acceptances are what has been accepted, by identifier.
type Acceptances struct {
	path string
	all  []Acceptance // in the order of the file
	live map[string]int
	end  int64 // of the last whole line
}

// AcceptedError says that the file of acceptances cannot be read.
type AcceptedError struct {
	Path   string
	Line   int
	Reason string
}

func (e *AcceptedError) Error() string {
	return fmt.Sprintf("%s:%d: %s; bring the file back from a backup, or take the line out", e.Path, e.Line, e.Reason)
}

// NotAcceptedError says that a finding is not accepted.
type NotAcceptedError struct{ ID string }

func (e *NotAcceptedError) Error() string {
	return fmt.Sprintf("%q is no accepted finding; platewright catalog audit accepted lists them", e.ID)
}

// ReadAcceptances reads what has been accepted in the shop's folder; where there
// is no file, nothing has been. A last line that is cut short was never written to
// its end and counts as not there. The error is an [*AcceptedError] for a file
// that does not hold acceptances.
func ReadAcceptances(dir string) (*Acceptances, error) {
	a := &Acceptances{path: AcceptedPath(dir), live: map[string]int{}}
	text, err := os.ReadFile(a.path)
	if errors.Is(err, fs.ErrNotExist) {
		return a, nil
	}
	if err != nil {
		return nil, err
	}
	for n := 1; ; n++ {
		line, rest, whole := bytes.Cut(text[a.end:], []byte("\n"))
		if !whole {
			return a, nil
		}
		var x Acceptance
		d := json.NewDecoder(bytes.NewReader(line))
		d.DisallowUnknownFields()
		if err := d.Decode(&x); err != nil {
			return nil, &AcceptedError{a.path, n, "the line is no acceptance: " + err.Error()}
		}
		if _, err := d.Token(); err != io.EOF || x.ID == "" {
			return nil, &AcceptedError{a.path, n, "the line is no acceptance"}
		}
		a.take(x)
		a.end = int64(len(text) - len(rest))
	}
}

func (a *Acceptances) take(x Acceptance) {
	a.all = append(a.all, x)
	if x.Revoked {
		delete(a.live, x.ID)
	} else {
		a.live[x.ID] = len(a.all) - 1
	}
}

// Of gives the acceptance of the finding with that identifier, nil if it is not
// accepted.
func (a *Acceptances) Of(id string) *Acceptance {
	if i, ok := a.live[id]; ok {
		return &a.all[i]
	}
	return nil
}

// List gives what is accepted now, in the order in which it was.
func (a *Acceptances) List() []Acceptance {
	out := []Acceptance{}
	for i, x := range a.all {
		if at, ok := a.live[x.ID]; ok && at == i {
			out = append(out, x)
		}
	}
	return out
}

// Add writes acceptances to the end of the file, all in one piece, and makes sure
// of the disk. An acceptance of what is accepted already replaces the reason.
func (a *Acceptances) Add(list ...Acceptance) error {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	for _, x := range list {
		if err := e.Encode(x); err != nil {
			return err
		}
	}
	if err := a.write(b.Bytes()); err != nil {
		return err
	}
	for _, x := range list {
		a.take(x)
	}
	return nil
}

// Revoke takes acceptances back. If one of the identifiers is not accepted,
// none is, and the error is a [*NotAcceptedError].
func (a *Acceptances) Revoke(ids []string, because, who string, at time.Time) ([]Acceptance, error) {
	var list []Acceptance
	for _, id := range ids {
		x := a.Of(id)
		if x == nil {
			return nil, &NotAcceptedError{id}
		}
		if slices.ContainsFunc(list, func(o Acceptance) bool { return o.ID == id }) {
			continue
		}
		list = append(list, Acceptance{ID: id, Kind: x.Kind, What: x.What, Because: because, Who: who, At: at, Revoked: true})
	}
	return list, a.Add(list...)
}

func (a *Acceptances) write(text []byte) (err error) {
	_, missing := os.Stat(a.path)
	// Lines go to the end of the file, wherever another process has left it.
	f, err := os.OpenFile(a.path, os.O_RDWR|os.O_CREATE|os.O_APPEND, 0o644)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	size, err := f.Seek(0, io.SeekEnd)
	if err != nil {
		return err
	}
	if size > a.end {
		// What a crash has cut short must not become the beginning of our line.
		rest := make([]byte, size-a.end)
		if _, err := f.ReadAt(rest, a.end); err != nil {
			return err
		}
		if whole := int64(bytes.LastIndexByte(rest, '\n') + 1); a.end+whole < size {
			size = a.end + whole
			if err := f.Truncate(size); err != nil {
				return err
			}
		}
	}
	if _, err := f.Write(text); err != nil {
		return errors.Join(err, f.Truncate(size))
	}
	if err := f.Sync(); err != nil {
		return err
	}
	a.end = size + int64(len(text))
	if missing != nil {
		return syncFolder(filepath.Dir(a.path))
	}
	return nil
}

// syncFolder makes sure that a new file is in its folder after a crash, where the
// system lets a folder be opened.
func syncFolder(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return nil
	}
	defer d.Close()
	d.Sync() // not every file system can, and the file itself is safe
	return nil
}
