package pack

// Limits bound what reading a package may cost. A zero field takes its value
// from [DefaultLimits].
type Limits struct {
	Total     int64 // bytes of all files together, unpacked
	File      int64 // bytes of one file, unpacked
	Ratio     int64 // how many times larger a packed file may become, if that is above a mebibyte
	Row       int   // bytes of one row of a CSV file with all its cells
	Workbook  int64 // bytes of a whole workbook, unpacked; a workbook is read into memory
	SheetRows int   // rows of one sheet; larger tables travel as CSV files
	Entries   int   // files in a zip or workbook
}

// DefaultLimits allow the largest catalogue that is to be expected, about ten
// million fit statements, and no more.
func DefaultLimits() Limits {
	return Limits{
		Total:     8 << 30,
		File:      4 << 30,
		Ratio:     250,
		Row:       1 << 20,
		Workbook:  128 << 20,
		SheetRows: 100_000,
		Entries:   2000,
	}
}

func (l Limits) withDefaults() Limits {
	d := DefaultLimits()
	if l.Total <= 0 {
		l.Total = d.Total
	}
	if l.File <= 0 {
		l.File = d.File
	}
	if l.Ratio <= 0 {
		l.Ratio = d.Ratio
	}
	if l.Row <= 0 {
		l.Row = d.Row
	}
	if l.Workbook <= 0 {
		l.Workbook = d.Workbook
	}
	if l.SheetRows <= 0 {
		l.SheetRows = d.SheetRows
	}
	if l.Entries <= 0 {
		l.Entries = d.Entries
	}
	return l
}
