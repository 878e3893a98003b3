package catalog

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// Row is a pointer to one of the row types, such as *[Fit].
type Row any

// Kind is what the cells of a column hold.
type Kind uint8

const (
	KindText       Kind = iota // free text for a person
	KindCode                   // an identity, printed as spelled, found by [Fold]
	KindValue                  // a mark's value, compared by [FoldValue]
	KindTarget                 // a code, or MARK=VALUE, as the row's scope says
	KindWord                   // one of the column's Words
	KindCount                  // a whole number, not negative
	KindDecimal                // an exact decimal number
	KindYes                    // yes, or empty for no
	KindDate                   // a [Date]
	KindSerial                 // a [Serial]
	KindWords                  // words or codes with a space between
	KindConditions             // [Conditions]
)

var kindNames = [...]string{"text", "code", "value", "target", "word", "count", "decimal", "yes", "date", "serial", "words", "conditions"}

func (k Kind) String() string { return kindNames[k] }

// Column describes one column of a table: the one place where its name, kind,
// rules and meaning are written down. Packages derive their Table Schema from
// it, the store its encoding, the documentation its text.
type Column struct {
	Name     string
	Kind     Kind
	Doc      string   // one sentence, with the unit where there is one
	Words    []string // what a KindWord column may hold
	Ref      string   // the table whose key the cell must name
	Required bool     // an empty cell is a finding
	Repeats  bool     // few distinct texts over many rows: stored once each
	Reverse  bool     // rows are also found by this cell

	get func(Row) string
	set func(Row, string) error
}

// Get gives the canonical text of the column's cell in r, "" for none.
func (c *Column) Get(r Row) string { return c.get(r) }

// Set reads a cell into r. It takes every text that Get can give. An error is
// a [*ValueError] or a [*CodeError] and leaves r unchanged.
func (c *Column) Set(r Row, text string) error { return c.set(r, text) }

// Table describes one table of the catalogue.
type Table struct {
	Name    string
	Doc     string
	Columns []*Column
	Key     []int // the columns, by index, that identify a row
	Group   int   // rows that share the first Group key columns are stored, read and sorted together

	New   func() Row               // a fresh empty row
	Slab  func(n int) []Row        // n fresh empty rows in one piece of memory
	Reset func(Row)                // makes a row empty again, so that it can be used for the next line
	Clone func(Row) Row            // a copy that stays when the row is reset
	rules func(Row, func(Finding)) // what one row must obey by itself; nil for none
}

// Column gives the column of that name, or nil.
func (t *Table) Column(name string) *Column {
	for _, c := range t.Columns {
		if c.Name == name {
			return c
		}
	}
	return nil
}

// IsKey tells whether the column with index i is part of the key.
func (t *Table) IsKey(i int) bool { return slices.Contains(t.Key, i) }

// KeySep stands between the parts of a key. No part can hold it.
const KeySep = '\x00'

// RowKey appends the key of r to dst: the folded key columns in order, each
// ended by [KeySep]. Equal keys mean the same row; byte order of keys is the
// order of the table. A group's key ([Table.GroupKey]) is a prefix of the keys
// of its rows.
func (t *Table) RowKey(dst []byte, r Row) []byte { return t.appendKey(dst, r, len(t.Key)) }

// GroupKey appends the part of r's key that it shares with its group.
func (t *Table) GroupKey(dst []byte, r Row) []byte { return t.appendKey(dst, r, t.Group) }

func (t *Table) appendKey(dst []byte, r Row, n int) []byte {
	for _, i := range t.Key[:n] {
		c := t.Columns[i]
		dst = append(dst, KeyPart(c.Kind, c.get(r))...)
		dst = append(dst, KeySep)
	}
	return dst
}

// KeyPart gives the folded form that a cell of that kind has in a key.
func KeyPart(k Kind, text string) string {
	switch k {
	case KindCode, KindWord:
		return Fold(text)
	case KindTarget:
		if m, v, ok := strings.Cut(text, "="); ok {
			return Fold(m) + "=" + FoldValue(v)
		}
		return Fold(text)
	case KindCount:
		// Eight digits keep byte order and number order the same.
		if len(text) < 8 {
			return "00000000"[len(text):] + text
		}
		return text
	case KindValue:
		return FoldValue(text)
	}
	return text
}

// MakeKey joins already folded parts into the key of a row or group.
func MakeKey(parts ...string) string {
	n := 0
	for _, p := range parts {
		n += len(p) + 1
	}
	var b strings.Builder
	b.Grow(n)
	for _, p := range parts {
		b.WriteString(p)
		b.WriteByte(KeySep)
	}
	return b.String()
}

// ShowKey gives a key for people: its parts with a slash between.
func ShowKey(key string) string {
	return strings.ReplaceAll(strings.TrimSuffix(key, string(KeySep)), string(KeySep), " / ")
}

// RowName gives the spelled key columns of r, for people and for references.
func (t *Table) RowName(r Row) string {
	var parts []string
	for _, i := range t.Key {
		if s := t.Columns[i].get(r); s != "" {
			parts = append(parts, s)
		}
	}
	return strings.Join(parts, " / ")
}

// Cells gives the canonical texts of all columns of r in their order.
func (t *Table) Cells(dst []string, r Row) []string {
	for _, c := range t.Columns {
		dst = append(dst, c.get(r))
	}
	return dst
}

// The constructors below bind a column to a field of a row type.

type option func(*Column)

func required(c *Column) { c.Required = true }
func repeats(c *Column)  { c.Repeats = true }
func reverse(c *Column)  { c.Reverse = true }
func ref(table string) option {
	return func(c *Column) { c.Ref = table }
}

func column[T any](name string, kind Kind, doc string, opts []option, get func(*T) string, set func(*T, string) error) *Column {
	c := &Column{Name: name, Kind: kind, Doc: doc,
		get: func(r Row) string { return get(r.(*T)) },
		set: func(r Row, s string) error { return set(r.(*T), s) },
	}
	for _, o := range opts {
		o(c)
	}
	return c
}

func text[T any](name, doc string, at func(*T) *string, opts ...option) *Column {
	return column(name, KindText, doc, opts,
		func(r *T) string { return *at(r) },
		func(r *T, s string) error {
			if err := CheckText(s); err != nil {
				return err
			}
			*at(r) = s
			return nil
		})
}

func code[T any, S ~string](name, doc string, at func(*T) *S, opts ...option) *Column {
	return column(name, KindCode, doc, opts,
		func(r *T) string { return string(*at(r)) },
		func(r *T, s string) error {
			if s != "" {
				if err := CheckCode(s); err != nil {
					return err
				}
			}
			*at(r) = S(s)
			return nil
		})
}

func target[T any](name, doc string, at func(*T) *string, opts ...option) *Column {
	return column(name, KindTarget, doc, opts,
		func(r *T) string { return *at(r) },
		func(r *T, s string) error {
			if s != "" {
				if err := CheckCode(s); err != nil {
					return err
				}
			}
			*at(r) = s
			return nil
		})
}

func value[T any](name, doc string, at func(*T) *string, opts ...option) *Column {
	return column(name, KindValue, doc, opts,
		func(r *T) string { return *at(r) },
		func(r *T, s string) error {
			if err := CheckText(s); err != nil {
				return err
			}
			if len(s) > MaxCode || strings.ContainsAny(s, ";=\x00") {
				return &ValueError{s, "it cannot be a mark's value", "use at most 64 bytes, without ; and ="}
			}
			*at(r) = s
			return nil
		})
}

func word[T any, S ~string](name, doc string, words []S, at func(*T) *S, opts ...option) *Column {
	c := column(name, KindWord, doc, opts,
		func(r *T) string { return string(*at(r)) },
		func(r *T, s string) error {
			for _, w := range words {
				if string(w) == s {
					*at(r) = w
					return nil
				}
			}
			if s == "" {
				*at(r) = ""
				return nil
			}
			all := make([]string, len(words))
			for i, w := range words {
				all[i] = string(w)
			}
			return &ValueError{s, "it is not one of the words of this column", "write one of: " + strings.Join(all, ", ")}
		})
	for _, w := range words {
		c.Words = append(c.Words, string(w))
	}
	c.Repeats = true
	return c
}

func count[T any](name, doc string, at func(*T) *int, opts ...option) *Column {
	return column(name, KindCount, doc, opts,
		func(r *T) string {
			if *at(r) == 0 {
				return ""
			}
			return strconv.Itoa(*at(r))
		},
		func(r *T, s string) error {
			if s == "" {
				*at(r) = 0
				return nil
			}
			n, err := strconv.Atoi(s)
			switch {
			case err != nil || s[0] == '+':
				return &ValueError{s, "it is not a whole number", "write digits only"}
			case n < 0:
				return &ValueError{s, "it is negative", "write a number above zero, or leave the cell empty"}
			case n > 99_999_999:
				return &ValueError{s, "it is above 99999999", "check the number"}
			}
			*at(r) = n
			return nil
		})
}

func dec[T any](name, doc string, at func(*T) *Decimal, opts ...option) *Column {
	return column(name, KindDecimal, doc, opts,
		func(r *T) string { return at(r).String() },
		func(r *T, s string) error {
			if s == "" {
				*at(r) = Decimal{}
				return nil
			}
			d, err := ParseDecimal(s)
			if err != nil {
				return err
			}
			*at(r) = d
			return nil
		})
}

func yes[T any](name, doc string, at func(*T) *bool, opts ...option) *Column {
	c := column(name, KindYes, doc, opts,
		func(r *T) string {
			if *at(r) {
				return "yes"
			}
			return ""
		},
		func(r *T, s string) error {
			switch s {
			case "yes":
				*at(r) = true
			case "", "no":
				*at(r) = false
			default:
				return &ValueError{s, "it is neither yes nor no", "write yes, or leave the cell empty"}
			}
			return nil
		})
	c.Repeats = true
	return c
}

func date[T any](name, doc string, at func(*T) *Date, opts ...option) *Column {
	return column(name, KindDate, doc, opts,
		func(r *T) string { return at(r).String() },
		func(r *T, s string) error {
			if s == "" {
				*at(r) = 0
				return nil
			}
			d, err := ParseDate(s)
			if err != nil {
				return err
			}
			*at(r) = d
			return nil
		})
}

func serial[T any](name, doc string, at func(*T) *Serial, opts ...option) *Column {
	return column(name, KindSerial, doc, opts,
		func(r *T) string { return at(r).String() },
		func(r *T, s string) error {
			if s == "" {
				*at(r) = 0
				return nil
			}
			n, err := ParseSerial(s)
			if err != nil {
				return err
			}
			*at(r) = n
			return nil
		})
}

func words[T any](name, doc string, at func(*T) *Words, opts ...option) *Column {
	return column(name, KindWords, doc, opts,
		func(r *T) string { return at(r).String() },
		func(r *T, s string) error {
			if err := CheckText(s); err != nil {
				return err
			}
			*at(r) = strings.Fields(s)
			return nil
		})
}

func conditions[T any](name, doc string, at func(*T) *Conditions, opts ...option) *Column {
	c := column(name, KindConditions, doc, opts,
		func(r *T) string { return at(r).String() },
		func(r *T, s string) error {
			cs, err := ParseConditions(s)
			if err != nil {
				return err
			}
			*at(r) = cs
			return nil
		})
	c.Repeats = true
	return c
}

func table[T any](name, doc string, key []string, group int, rules func(*T, func(Finding)), columns ...*Column) *Table {
	t := &Table{Name: name, Doc: doc, Columns: columns, Group: group,
		New: func() Row { return new(T) },
		Slab: func(n int) []Row {
			slab, rows := make([]T, n), make([]Row, n)
			for i := range slab {
				rows[i] = &slab[i]
			}
			return rows
		},
		Reset: func(r Row) { var zero T; *r.(*T) = zero },
		Clone: func(r Row) Row { c := *r.(*T); return &c },
	}
	for _, k := range key {
		i := slices.IndexFunc(columns, func(c *Column) bool { return c.Name == k })
		if i < 0 {
			panic(fmt.Sprintf("table %s has no key column %s", name, k)) // a slip in this package's own tables; a test builds them all
		}
		t.Key = append(t.Key, i)
	}
	if rules != nil {
		t.rules = func(r Row, report func(Finding)) { rules(r.(*T), report) }
	}
	return t
}
