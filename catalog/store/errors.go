package store

import (
	"errors"
	"fmt"
	"path/filepath"
)

// ErrInUse says that another process is changing the catalogue. Errors that
// wrap it say which where that is known. Wait until it is done and try again.
var ErrInUse = errors.New("the catalogue is in use by another process; wait until it is done and try again")

// MissingError says that there is no catalogue, or no records of the shop, in the
// folder.
type MissingError struct {
	Path string
	Mend string
}

func (e *MissingError) Error() string {
	if filepath.Base(e.Path) == shopFile {
		return fmt.Sprintf("there are no records of the shop at %s; %s", e.Path, e.Mend)
	}
	return fmt.Sprintf("there is no catalogue at %s; %s", e.Path, e.Mend)
}

// NotOursError says that the file is not one of this program.
type NotOursError struct {
	Path string
	What string
	Mend string
}

func (e *NotOursError) Error() string {
	if filepath.Base(e.Path) == shopFile {
		return fmt.Sprintf("%s does not hold the shop's records: %s; %s", e.Path, e.What, e.Mend)
	}
	return fmt.Sprintf("%s is not a catalogue: %s; %s", e.Path, e.What, e.Mend)
}

// NewerError says that the file was made by a newer program.
type NewerError struct {
	Path string
	What string // what is newer
	Mend string
}

func (e *NewerError) Error() string {
	return fmt.Sprintf("%s is newer than this program: %s; %s", e.Path, e.What, e.Mend)
}

// OlderError says that the file was made by an older program whose keys or
// tables this one cannot read.
type OlderError struct {
	Path string
	What string
	Mend string
}

func (e *OlderError) Error() string {
	return fmt.Sprintf("%s is older than this program can read: %s; %s", e.Path, e.What, e.Mend)
}

// DamagedError says that the file is not as it was written. What was asked has
// not been answered, and nothing has been changed.
type DamagedError struct {
	Path string
	What string
	Mend string
}

func (e *DamagedError) Error() string {
	return fmt.Sprintf("%s is damaged: %s; %s", e.Path, e.What, e.Mend)
}

// EditionError says that an edition cannot be had.
type EditionError struct {
	Number int
	What   string
	Mend   string
}

func (e *EditionError) Error() string {
	return fmt.Sprintf("edition %d: %s; %s", e.Number, e.What, e.Mend)
}

const (
	mendDamaged = "restore a backup, or move the file away and import the package again"
	mendNotOurs = "name the folder of a catalogue, or move the file away and import a package"
	mendNewer   = "use the newer program"
	mendOlder   = "export it with the program that made it, and import that into a new folder"
	mendMissing = "import a package first, or name the folder with --data"
)

// damage is what reading code panics with when an entry is not as it was
// written. It never leaves the package: guard turns it into a [*DamagedError].
// A panic keeps the dozens of places that decode an entry free of error
// returns on the hot path, and bbolt itself panics in the same cases.
type damage struct{ what string }

func damaged(format string, args ...any) { panic(damage{fmt.Sprintf(format, args...)}) }
