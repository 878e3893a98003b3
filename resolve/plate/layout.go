package plate

import (
	"fmt"
	"slices"

	"platewright/catalog"
)

// maxFields is the most fields a layout can have; the matcher keeps a word of
// bits for each of them.
const maxFields = 32

// Layout is a compiled plate layout. It is never changed after [Compile] and
// safe for concurrent use.
type Layout struct {
	Row    catalog.Layout
	fields []field
	checks []check
	built  int // index of the field with the build date, -1 for none

	minRest, maxRest [maxFields + 1]int // fewest and most places from a field to the end
	head, tail       []Set              // what stands at the first and the last places whatever the widths; tail from the end
}

type field struct {
	row      catalog.Field
	literal  []Set // of a literal field
	set      Set   // of all others
	min, max int
	optional bool
}

// at is what can stand at the k-th place of the field.
func (f *field) at(k int) Set {
	if f.literal != nil {
		return f.literal[k]
	}
	return f.set
}

type check struct {
	field int
	over  []int // indexes of the fields covered, in their order
	*Check
}

// LayoutCode says in one word why a layout cannot be compiled.
type LayoutCode string

// The codes of a [LayoutError].
const (
	NoFields       LayoutCode = "no-fields"       // the layout has no fields, or none that means the variant
	TooManyFields  LayoutCode = "many-fields"     // more fields than a plate has
	TooManyPlaces  LayoutCode = "many-places"     // the plate would be longer than [MaxPlaces] or the field longer than 40
	BadFieldKind   LayoutCode = "field-kind"      // the kind is not known
	BadFieldChars  LayoutCode = "field-chars"     // characters that stand on no plate, or none
	BadFieldWidth  LayoutCode = "field-width"     // min and max are not 1 <= min <= max
	SameFieldTwice LayoutCode = "field-twice"     // two fields of one name
	BadForm        LayoutCode = "form"            // a built field whose form is not known or does not suit its width
	BadScheme      LayoutCode = "scheme"          // the scheme cannot be made; the cause is a [*SchemeError]
	BadCheckWidth  LayoutCode = "check-width"     // a check field of another width than its scheme
	BadCheckChars  LayoutCode = "check-chars"     // a check field that can hold none of its scheme's check characters
	UnknownCovered LayoutCode = "unknown-covered" // over names no field, the check field itself, or one field twice
	CannotCover    LayoutCode = "cannot-cover"    // a field covered can hold a character that the scheme cannot count
	ShortWeights   LayoutCode = "short-weights"   // fewer weights than characters covered
)

// LayoutError says why a layout cannot be compiled.
type LayoutError struct {
	Layout string     `json:"layout"`
	Field  string     `json:"field,omitempty"`
	Code   LayoutCode `json:"code"`
	Value  string     `json:"value,omitempty"`
	Cause  error      `json:"-"`
}

func (e *LayoutError) Error() string {
	in := fmt.Sprintf("layout %q", e.Layout)
	if e.Field != "" {
		in += fmt.Sprintf(", field %q", e.Field)
	}
	switch e.Code {
	case NoFields:
		return in + ": no field means the variant; add the fields of the plate"
	case TooManyFields:
		return fmt.Sprintf("%s: there are more than %d fields; join neighbours that mean nothing", in, maxFields)
	case TooManyPlaces:
		return fmt.Sprintf("%s: the plate can be longer than %d places; check the widths", in, MaxPlaces)
	case BadFieldKind:
		return fmt.Sprintf("%s: the kind %q is not known; use literal, digits, letters, alphanum or set", in, e.Value)
	case BadFieldChars:
		return fmt.Sprintf("%s: the characters %q cannot stand on a plate; write letters, digits and plain signs", in, e.Value)
	case BadFieldWidth:
		return fmt.Sprintf("%s: the width %s cannot be; give the fewest and the most characters, at least one", in, e.Value)
	case SameFieldTwice:
		return in + ": the layout has two fields of this name; give each its own"
	case BadForm:
		return fmt.Sprintf("%s: the form %q does not suit the field; use YYWW, YYMM, YYYYMM, YYYYMMDD or YYYY with as many digits", in, e.Value)
	case BadScheme:
		return fmt.Sprintf("%s: %v", in, e.Cause)
	case BadCheckWidth:
		return fmt.Sprintf("%s: a check field of this scheme has another width than %s; correct min and max", in, e.Value)
	case BadCheckChars:
		return fmt.Sprintf("%s: the field can hold none of the check characters of %s; correct its kind", in, e.Value)
	case UnknownCovered:
		return fmt.Sprintf("%s: it cannot cover %q; name other fields of the layout, each once", in, e.Value)
	case CannotCover:
		return fmt.Sprintf("%s: it covers the field %q, which can hold characters without a value in the scheme; leave it out of over, or give them values", in, e.Value)
	case ShortWeights:
		return fmt.Sprintf("%s: %s; write one weight for each character covered", in, e.Value)
	}
	return in + " cannot be used"
}

// Unwrap gives the cause.
func (e *LayoutError) Unwrap() error { return e.Cause }

// Compile makes a layout ready for use from its row and its field rows, in any
// order. The error is a [*LayoutError]; a layout that passed the checks of a
// catalogue compiles, apart from what those do not look at: a check over
// characters that its scheme cannot count.
//
// A check field without Over covers every field that is no check field itself,
// in the order of their places.
func Compile(row catalog.Layout, rows []catalog.Field) (*Layout, error) {
	l := &Layout{Row: row, built: -1}
	fail := func(f *catalog.Field, code LayoutCode, value string, cause error) (*Layout, error) {
		e := &LayoutError{Layout: row.Layout, Code: code, Value: value, Cause: cause}
		if f != nil {
			e.Field = f.Field
		}
		return nil, e
	}
	if len(rows) > maxFields {
		return fail(nil, TooManyFields, "", nil)
	}
	rows = slices.Clone(rows)
	slices.SortStableFunc(rows, func(a, b catalog.Field) int { return a.Place - b.Place })
	index := map[string]int{}
	variant := false
	l.fields = make([]field, 0, len(rows))
	for i := range rows {
		r := &rows[i]
		f := field{row: *r, min: r.Min, max: r.Max, optional: r.Optional}
		name := catalog.Fold(r.Field)
		if _, twice := index[name]; twice {
			return fail(r, SameFieldTwice, "", nil)
		}
		index[name] = i
		switch r.Kind {
		case catalog.FieldLiteral:
			text := catalog.Fold(r.Chars)
			for j := 0; j < len(text); j++ {
				f.literal = append(f.literal, one(text[j]))
			}
			if _, ok := SetOf(text); !ok || text == "" {
				return fail(r, BadFieldChars, r.Chars, nil)
			}
			f.min, f.max = len(text), len(text)
		case catalog.FieldDigits:
			f.set = Digits
		case catalog.FieldLetters:
			f.set = Letters
		case catalog.FieldAlphanum:
			f.set = Alphanum
		case catalog.FieldSet:
			set, ok := SetOf(catalog.Fold(r.Chars))
			if !ok || set == 0 {
				return fail(r, BadFieldChars, r.Chars, nil)
			}
			f.set = set
		default:
			return fail(r, BadFieldKind, string(r.Kind), nil)
		}
		if f.min < 1 || f.max < f.min {
			return fail(r, BadFieldWidth, fmt.Sprintf("%d to %d", f.min, f.max), nil)
		}
		if f.max > 40 {
			return fail(r, TooManyPlaces, "", nil)
		}
		switch r.Means {
		case catalog.MeansVariant:
			variant = true
		case catalog.MeansBuilt:
			if !slices.Contains([]string{"YYWW", "YYMM", "YYYYMM", "YYYYMMDD", "YYYY"}, r.Form) ||
				f.min != len(r.Form) || f.max != len(r.Form) || f.literal != nil {
				return fail(r, BadForm, r.Form, nil)
			}
			if l.built < 0 {
				l.built = i
			}
		}
		l.fields = append(l.fields, f)
	}
	if !variant {
		return fail(nil, NoFields, "", nil)
	}
	for i := range l.fields {
		f := &l.fields[i]
		if f.row.Means != catalog.MeansCheck {
			continue
		}
		c, err := NewCheck(f.row.Scheme, f.row.Weights, f.row.Values)
		if err != nil {
			return fail(&f.row, BadScheme, string(f.row.Scheme), err)
		}
		if f.min != c.width || f.max != c.width {
			return fail(&f.row, BadCheckWidth, fmt.Sprintf("%d to %d", f.min, f.max), nil)
		}
		for k := range c.width {
			if f.at(k)&c.checks == 0 {
				return fail(&f.row, BadCheckChars, string(f.row.Scheme), nil)
			}
		}
		over := []int{}
		for _, name := range f.row.Over {
			j, ok := index[catalog.Fold(name)]
			if !ok || j == i || slices.Contains(over, j) {
				return fail(&f.row, UnknownCovered, name, nil)
			}
			over = append(over, j)
		}
		if len(over) == 0 {
			for j := range l.fields {
				if l.fields[j].row.Means != catalog.MeansCheck {
					over = append(over, j)
				}
			}
		}
		most := 0
		for _, j := range over {
			g := &l.fields[j]
			most += g.max
			for k := range g.max {
				if g.at(k)&^c.payload != 0 {
					return fail(&f.row, CannotCover, g.row.Field, nil)
				}
			}
		}
		if c.weights != nil && len(c.weights) < most {
			return fail(&f.row, ShortWeights, fmt.Sprintf("%d weights for %d characters", len(c.weights), most), nil)
		}
		l.checks = append(l.checks, check{i, over, c})
	}
	for i := len(l.fields) - 1; i >= 0; i-- {
		f := &l.fields[i]
		l.maxRest[i] = l.maxRest[i+1] + f.max
		l.minRest[i] = l.minRest[i+1] + f.min
		if f.optional {
			l.minRest[i] = l.minRest[i+1]
		}
	}
	if l.maxRest[0] > MaxPlaces {
		return fail(nil, TooManyPlaces, "", nil)
	}
	for i := range l.fields {
		f := &l.fields[i]
		if f.optional {
			break
		}
		for k := range f.min {
			l.head = append(l.head, f.at(k))
		}
		if f.min != f.max {
			break
		}
	}
	for i := len(l.fields) - 1; i >= 0; i-- {
		f := &l.fields[i]
		if f.optional {
			break
		}
		for k := range f.min {
			l.tail = append(l.tail, f.at(f.max-1-k))
		}
		if f.min != f.max {
			break
		}
	}
	return l, nil
}

// Fields gives the field rows from left to right. They must not be changed.
func (l *Layout) Fields() []catalog.Field {
	out := make([]catalog.Field, len(l.fields))
	for i := range l.fields {
		out[i] = l.fields[i].row
	}
	return out
}

// Widths gives the fewest and the most places of a plate of this layout.
func (l *Layout) Widths() (fewest, most int) { return l.minRest[0], l.maxRest[0] }

// mayBe is the quick test before matching: the length and what stands at the
// ends whatever the widths of the fields between.
func (l *Layout) mayBe(r []Set) bool {
	if len(r) < l.minRest[0] || len(r) > l.maxRest[0] {
		return false
	}
	for i, s := range l.head {
		if r[i]&s == 0 {
			return false
		}
	}
	for i, s := range l.tail {
		if r[len(r)-1-i]&s == 0 {
			return false
		}
	}
	return true
}
