package catalog

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Place is where in a package something stands.
type Place struct {
	File   string `json:"file,omitempty"` // as named in the package
	Table  string `json:"table,omitempty"`
	Row    int    `json:"row,omitempty"`    // line in a CSV file, row in a sheet; the heading is 1; 0 for the whole file
	Column string `json:"column,omitempty"` // heading of the column
}

func (p Place) String() string {
	var b strings.Builder
	b.WriteString(p.File)
	if p.File == "" {
		b.WriteString(p.Table)
	}
	if p.Row > 0 {
		fmt.Fprintf(&b, ":%d", p.Row)
	}
	if p.Column != "" {
		fmt.Fprintf(&b, " column %s", p.Column)
	}
	return b.String()
}

// Code of a finding: a closed list, stable, for programs. See [FindingCodes].
type FindingCode string

// Severity tells whether a finding refuses the import.
type Severity string

const (
	Refused Severity = "refused" // the import is not done
	Remark  Severity = "remark"  // worth a look; the import is done
)

// Finding is one thing that is wrong with a package or a catalogue: what,
// where, the value found, and how to mend it.
type Finding struct {
	Code     FindingCode `json:"code"`
	Severity Severity    `json:"severity"`
	Place
	Value string `json:"value,omitempty"` // as it stands there, cut to 80 characters
	What  string `json:"what"`
	Mend  string `json:"mend"`
}

func (f Finding) String() string {
	var b strings.Builder
	if p := f.Place.String(); p != "" {
		b.WriteString(p + ": ")
	}
	b.WriteString(f.What)
	if f.Value != "" {
		fmt.Fprintf(&b, " (found %q)", f.Value)
	}
	b.WriteString("; " + f.Mend)
	return b.String()
}

// The codes of findings.
const (
	BadPackage       FindingCode = "package"       // the package or its description cannot be read
	BadFile          FindingCode = "file"          // a file or sheet cannot be read at all
	BadEncoding      FindingCode = "encoding"      // a text is not UTF-8
	BadShape         FindingCode = "shape"         // a row has more or fewer cells than the heading
	BadHeading       FindingCode = "heading"       // a column is missing, double or unknown
	BadCell          FindingCode = "cell"          // a cell is not of its column's kind
	BadCode          FindingCode = "code"          // a code holds what a code cannot hold
	Mangled          FindingCode = "mangled"       // a spreadsheet has rewritten a code
	Missing          FindingCode = "missing"       // a required cell is empty
	Duplicate        FindingCode = "duplicate"     // two rows have the same key
	Dangling         FindingCode = "dangling"      // a cell names something that is not in the catalogue
	BadRange         FindingCode = "range"         // a range ends before it starts
	BadNumber        FindingCode = "number"        // a quantity or figure that cannot be meant
	BadCombination   FindingCode = "combination"   // cells of a row that cannot stand together
	Circle           FindingCode = "circle"        // numbers that replace each other in a circle
	TooLarge         FindingCode = "too-large"     // a file, field or package beyond the limits
	UnknownTable     FindingCode = "unknown-table" // a resource or sheet that is no table of the catalogue
	NothingToImport  FindingCode = "nothing"       // no table holds a row
	EmptyTable       FindingCode = "empty-table"   // a table without rows leaves what stands (a remark)
	LostLeadingZeros FindingCode = "leading-zeros" // a code that exists only with zeros in front
)

// FindingCodes lists every code that a [Finding] can carry.
var FindingCodes = []FindingCode{BadPackage, BadFile, BadEncoding, BadShape, BadHeading, BadCell, BadCode, Mangled, Missing,
	Duplicate, Dangling, BadRange, BadNumber, BadCombination, Circle, TooLarge, UnknownTable, NothingToImport, EmptyTable, LostLeadingZeros}

// MaxFindings is how many findings of one code on one column [Findings] keeps;
// it counts the rest. A column of a million wrong cells is one mistake.
const MaxFindings = 200

// Findings collects findings. The zero value is ready to use.
type Findings struct {
	list    []Finding
	perKind map[string]int
	refused int
	dropped int
}

// Add keeps f, or counts it where there are already [MaxFindings] of its kind.
func (fs *Findings) Add(f Finding) {
	if f.Severity == "" {
		f.Severity = Refused
	}
	if f.Severity == Refused {
		fs.refused++
	}
	f.Value = cutText(f.Value, 80)
	kind := string(f.Code) + "\x00" + f.File + "\x00" + f.Table + "\x00" + f.Column
	if fs.perKind == nil {
		fs.perKind = map[string]int{}
	}
	fs.perKind[kind]++
	if fs.perKind[kind] > MaxFindings {
		fs.dropped++
		return
	}
	fs.list = append(fs.list, f)
}

// Merge adds what o has collected, with the findings that o only counted.
func (fs *Findings) Merge(o *Findings) {
	refused := fs.refused + o.refused
	dropped := fs.dropped + o.dropped
	for _, f := range o.list {
		before := fs.dropped
		fs.Add(f)
		dropped += fs.dropped - before
	}
	fs.refused, fs.dropped = refused, dropped
}

// Refused tells how many findings, kept or only counted, refuse the import.
func (fs *Findings) Refused() int { return fs.refused }

// Dropped tells how many findings were only counted.
func (fs *Findings) Dropped() int { return fs.dropped }

// List gives the findings in the order of file, row, column and code.
func (fs *Findings) List() []Finding {
	out := slices.Clone(fs.list)
	slices.SortStableFunc(out, func(a, b Finding) int {
		return cmp.Or(cmp.Compare(a.File, b.File), cmp.Compare(a.Table, b.Table), cmp.Compare(a.Row, b.Row),
			cmp.Compare(a.Column, b.Column), cmp.Compare(a.Code, b.Code), cmp.Compare(a.Value, b.Value))
	})
	return out
}

// Err is a [*RefusedError] if a finding refuses the import, else nil.
func (fs *Findings) Err() error {
	if fs.refused == 0 {
		return nil
	}
	return &RefusedError{Findings: fs.List(), Dropped: fs.dropped}
}

// RefusedError says that input was refused, with everything that is wrong
// with it. Nothing of the input has been applied.
type RefusedError struct {
	Findings []Finding
	Dropped  int // findings counted but not listed
}

func (e *RefusedError) Error() string {
	n := len(e.Findings) + e.Dropped
	if n == 1 {
		return "the input was refused with one finding: " + e.Findings[0].String()
	}
	return fmt.Sprintf("the input was refused with %d findings", n)
}

func cutText(s string, n int) string {
	if len(s) <= n {
		return s
	}
	cut := 0
	for i := range s {
		if i > n {
			break
		}
		cut = i
	}
	return s[:cut] + "…"
}
