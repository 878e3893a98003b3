// Package catalogtest helps tests that need a catalogue: feeds of a few rows,
// and a store that checks itself at clean-up.
//
// What must not live here: anything that the program itself uses.
package catalogtest

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"platewright/catalog"
	"platewright/catalog/store"
)

// Feed is a [catalog.Feed] of rows in memory. The zero value is empty; fill it
// with Add and AddRow.
type Feed struct {
	Title  string
	tables []*catalog.Table
	lines  map[*catalog.Table][]line
}

type line struct {
	row     catalog.Row
	cleared catalog.Cells
}

// Add adds a row to the table of that name: its cells as COLUMN=TEXT, the text
// [catalog.ClearWord] for a cell to be cleared. What is no such cell is an
// error, so that a test does not pass by a slip.
func (f *Feed) Add(table string, cells ...string) error {
	t := f.Hold(table)
	if t == nil {
		return fmt.Errorf("no table %s", table)
	}
	l := line{row: t.New()}
	for _, cell := range cells {
		name, text, ok := strings.Cut(cell, "=")
		i := slices.IndexFunc(t.Columns, func(c *catalog.Column) bool { return c.Name == name })
		if !ok || i < 0 {
			return fmt.Errorf("table %s: %q is not COLUMN=TEXT", table, cell)
		}
		if text == catalog.ClearWord {
			l.cleared = l.cleared.With(i)
			continue
		}
		if err := t.Columns[i].Set(l.row, text); err != nil {
			return fmt.Errorf("table %s column %s: %w", table, name, err)
		}
	}
	f.lines[t] = append(f.lines[t], l)
	return nil
}

// AddRow adds a row, which must not be changed afterwards.
func (f *Feed) AddRow(t *catalog.Table, r catalog.Row, cleared catalog.Cells) {
	f.Hold(t.Name)
	f.lines[t] = append(f.lines[t], line{r, cleared})
}

// Hold makes the feed hold a table, if only without rows. It gives nil for a
// table that there is not.
func (f *Feed) Hold(table string) *catalog.Table {
	t := catalog.TableByName(table)
	if t == nil {
		return nil
	}
	if f.lines == nil {
		f.lines = map[*catalog.Table][]line{}
	}
	if !slices.Contains(f.tables, t) {
		f.tables = append(f.tables, t)
	}
	return t
}

// Name gives the title.
func (f *Feed) Name() string { return f.Title }

// Tables gives the tables that the feed holds, in reading order.
func (f *Feed) Tables() []*catalog.Table {
	var out []*catalog.Table
	for _, t := range catalog.Tables() {
		if slices.Contains(f.tables, t) {
			out = append(out, t)
		}
	}
	return out
}

// Rows yields the rows of t in the order in which they were added, as if they
// stood in a file TABLE.csv with a heading.
func (f *Feed) Rows(t *catalog.Table, _ *catalog.Findings, each func(catalog.Row, catalog.Place, catalog.Cells) error) error {
	for i, l := range f.lines[t] {
		if err := each(l.row, catalog.Place{File: t.Name + ".csv", Table: t.Name, Row: i + 2}, l.cleared); err != nil {
			return err
		}
	}
	return nil
}

// Now is the time at which tests make editions.
var Now = time.Date(2031, 5, 6, 7, 8, 9, 0, time.UTC)

// Store imports the feed into a fresh folder and opens it. At clean-up the
// whole catalogue there is checked, as it is by then, and closed.
func Store(t testing.TB, feed catalog.Feed) (*store.Store, string) {
	t.Helper()
	dir := t.TempDir()
	if _, err := store.Import(context.Background(), dir, feed, store.ImportOptions{Now: Now, Program: "test"}); err != nil {
		t.Fatalf("import: %v", Explain(err))
	}
	return Open(t, dir), dir
}

// Open opens the catalogue in dir. At clean-up the whole catalogue there is
// checked, as it is by then, and closed.
func Open(t testing.TB, dir string) *store.Store {
	t.Helper()
	s, err := store.Open(dir)
	if err != nil {
		t.Fatalf("open: %v", err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Errorf("close: %v", err)
		}
		Check(t, dir)
	})
	return s
}

// Check checks the whole catalogue in dir and fails the test if it is not sound.
func Check(t testing.TB, dir string) {
	t.Helper()
	s, err := store.Open(dir)
	if err != nil {
		t.Errorf("open for the check: %v", err)
		return
	}
	if _, err := s.Check(context.Background(), nil); err != nil {
		t.Errorf("check: %v", err)
	}
	if err := s.Close(); err != nil {
		t.Errorf("close after the check: %v", err)
	}
}

// Explain gives the findings of a refused import, a line each, or the error.
func Explain(err error) string {
	var refused *catalog.RefusedError
	if err == nil || !errors.As(err, &refused) {
		return fmt.Sprint(err)
	}
	var b strings.Builder
	b.WriteString(refused.Error())
	for _, f := range refused.Findings {
		b.WriteString("\n" + f.String())
	}
	return b.String()
}
