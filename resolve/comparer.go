package resolve

import (
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"io"

	"platewright/catalog"
	"platewright/resolve/plate"
)

// Comparer tells what variants show and take, one after the other, for whoever
// compares a whole catalogue. It works out outcomes as decisions do, so that two
// variants take the same by it exactly where L3 says so. Like the resolver that
// it comes from, it is not safe for concurrent use.
type Comparer struct {
	r          *reader
	d          *decider
	marks      []*catalog.Mark
	markKeys   []string
	assemblies []*catalog.Assembly
	edition    Edition
	taken      []map[string]*Taken // by role: what unconditional statements come to
	spelled    []byte
}

// ComparedRole is a role in which variants are compared.
type ComparedRole struct {
	Role     string
	Name     string
	Assembly string // its key: the assembly whose identity decides the role
}

// Compared is a variant at hand for comparison.
type Compared struct{ v *variant }

// Taken is what a variant takes in a role, nothing being known of the unit. It is
// shared and must not be changed.
type Taken struct {
	Sum   [2]uint64 // of its outcomes (V2): equal sums are equal outcomes
	Shown uint64    // of what is shown of it, which can differ where the outcomes do not
	Takes
}

// Comparer gives a comparer in the roles of the scopes of work, or in all roles.
// It takes the resolver over: what is asked of that afterwards leaves trails out.
// The error is a [*QuestionError] for a scope that the catalogue does not know.
func (res *Resolver) Comparer(work []string) (*Comparer, error) {
	c := &Comparer{r: res.r, d: &decider{res: res, r: res.r, q: Question{Work: work}, dec: &Decision{}}}
	res.r.lean = true
	if err := res.r.loadAssemblies(); err != nil {
		return nil, err
	}
	if err := res.r.loadMarks(); err != nil {
		return nil, err
	}
	if err := c.d.askRoles(); err != nil {
		return nil, err
	}
	c.assemblies, c.marks = res.r.assemblies, res.r.markOrder
	for _, m := range c.marks {
		c.markKeys = append(c.markKeys, catalog.Fold(m.Mark))
	}
	var err error
	if c.edition, err = res.about(); err != nil {
		return nil, err
	}
	c.taken = make([]map[string]*Taken, len(c.d.asked))
	for i := range c.taken {
		c.taken[i] = map[string]*Taken{}
	}
	return c, nil
}

// Roles gives the roles compared.
func (c *Comparer) Roles() []ComparedRole {
	out := make([]ComparedRole, len(c.d.asked))
	for i, a := range c.d.asked {
		out[i] = ComparedRole{Role: a.role.row.Role, Name: a.role.row.Name, Assembly: a.role.assembly}
	}
	return out
}

// Edition says which catalogue it is.
func (c *Comparer) Edition() Edition { return c.edition }

// Assemblies gives the assemblies, the root first, each after the one that it
// follows.
func (c *Comparer) Assemblies() []*catalog.Assembly { return c.assemblies }

// Guard tells which slips the check characters of a layout catch; nil, which
// catches none, for a layout that has none or cannot be used.
func (c *Comparer) Guard(l *catalog.Layout) (*plate.Guard, error) {
	compiled, err := compileLayout(c.r.cat, l)
	var wrong *plate.LayoutError
	switch {
	case errors.As(err, &wrong):
		return nil, nil
	case err != nil:
		return nil, err
	}
	return plate.NewGuard(compiled), nil
}

// Marks gives the marks in the order of their keys.
func (c *Comparer) Marks() []*catalog.Mark { return c.marks }

// Visible tells whether a mark can be told by eye (L2).
func Visible(m *catalog.Mark) bool {
	return m.Kind != catalog.MarkMeasured && catalog.Fold(m.Mark) != vehicleKey
}

// Variant gives the variant with that key; ok is false if there is none.
func (c *Comparer) Variant(key string) (v Compared, ok bool, err error) {
	v.v, err = c.r.variant(key)
	if err != nil || v.v == nil {
		return Compared{}, false, err
	}
	return v, true, c.r.load(v.v)
}

// Row gives the variant's row.
func (v Compared) Row() *catalog.Variant { return v.v.row }

// ShownBy tells which rows show the mark with that place in [Comparer.Marks]:
// the variant's own, else those of its family (C1).
func (c *Comparer) ShownBy(v Compared, mark int) []*catalog.Show { return v.v.shown(c.markKeys[mark]) }

// ShowsOwn tells whether the variant has marks of its own, so that it does not
// show just what its family does.
func (v Compared) ShowsOwn() bool { return len(v.v.shows) > 0 }

// Takes tells what the variant takes in the role with that place in
// [Comparer.Roles].
func (c *Comparer) Takes(v Compared, role int) (*Taken, error) {
	a := c.d.asked[role]
	key, ok := c.stated(v.v, a)
	if ok {
		if t := c.taken[role][string(key)]; t != nil {
			return t, nil
		}
	}
	cos, err := c.r.outcomes(v.v, a.role.row, a.key, known{}, c.d.fill)
	if err != nil {
		return nil, err
	}
	t := &Taken{}
	h := sha256.New()
	for _, k := range outcomeKeys(cos) {
		io.WriteString(h, k)
		h.Write([]byte{0})
	}
	sum := h.Sum(nil)
	t.Sum = [2]uint64{binary.LittleEndian.Uint64(sum), binary.LittleEndian.Uint64(sum[8:])}
	t.Takes = takesOf(cos)
	h.Reset()
	for _, w := range t.Ways {
		fmt.Fprintf(h, "%s\x00%t\x00", w.Outcome, w.Nothing)
		for _, it := range w.Items {
			fmt.Fprintf(h, "%s\x00%d\x00%s\x00%s\x00", it.Part, it.Qty, it.Litres, it.Position)
		}
		h.Write([]byte{1})
	}
	t.Shown = binary.LittleEndian.Uint64(h.Sum(sum[:0]))
	if ok {
		if len(c.taken[role]) >= maxTaken {
			clear(c.taken[role])
		}
		c.taken[role][string(key)] = t
	}
	return t, nil
}

// maxTaken bounds what is remembered of one role.
const maxTaken = 1 << 10

// stated spells the statements of a variant about a role, which for a part and
// without conditions are all that its outcome hangs on; ok is false if there is
// more to it. The text is good until the next call.
func (c *Comparer) stated(v *variant, a askedRole) (key []byte, ok bool) {
	if a.role.row.Kind != catalog.RolePart {
		return nil, false
	}
	for _, marks := range [2][]markFits{v.marks, v.fam.marks} {
		for i := range marks {
			if marks[i].fits.of(a.key) != nil {
				return nil, false
			}
		}
	}
	key = c.spelled[:0]
	for _, fits := range [2][]*catalog.Fit{v.fits.of(a.key), v.fam.fits.of(a.key)} {
		for _, f := range fits {
			if s := (stmt{fit: f}); s.conditional() {
				return nil, false
			}
			key = append(key, f.Effect...)
			key = append(append(append(key, 0), f.Part...), 0)
			key = append(append(key, f.Position...), 0)
			key = binary.AppendVarint(binary.AppendVarint(key, int64(f.Qty)), int64(f.Rank))
		}
	}
	c.spelled = key
	return key, true
}

// Apart tells whether both have shown values of the mark and none in common: a
// deciding mark then tells them apart (L4), a visible one keeps them from being
// look-alikes by eye (L2).
func Apart(m *catalog.Mark, a, b []*catalog.Show) bool { return apart(m, a, b) }

// ShownTexts gives the values of a mark as answers spell them.
func ShownTexts(m *catalog.Mark, shows []*catalog.Show) []string { return showTexts(shows, m) }
