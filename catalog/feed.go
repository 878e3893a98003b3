package catalog

// Feed is where the rows of an import come from: a package, a workbook, a
// catalogue in memory. It yields what is well-formed and reports the rest.
type Feed interface {
	// Name says what is read, for messages and the list of editions.
	Name() string
	// Tables gives the tables that the feed holds, in reading order. A table
	// can be held and still have no rows.
	Tables() []*Table
	// Rows yields each well-formed row of t in the order of the file. The row
	// is used again for the next one. An error of each ends the reading and is
	// returned; trouble of the input is added to fs, never returned.
	Rows(t *Table, fs *Findings, each func(r Row, at Place, cleared Cells) error) error
}

// Cells is a set of columns of a row, by index. In an import it marks the cells
// that hold the clear word: they empty what stands, which an empty cell never
// does.
type Cells uint64

// Has tells whether the column with index i is in the set.
func (c Cells) Has(i int) bool { return c&(1<<i) != 0 }

// With gives the set with column i added.
func (c Cells) With(i int) Cells { return c | 1<<i }

// ClearWord in a cell of an import empties the value that stands. Packages
// declare it as a missing value, so that any tool reads it as such.
const ClearWord = "(clear)"
