package seal

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/shopspring/decimal"

	"platewright/catalog"
	"platewright/resolve/measure"
)

// MostPieces is how many pieces [Sort] takes, and how many places.
const MostPieces = 100

// Sorted is a handful of measured pieces sorted to its places.
type Sorted struct {
	Tolerance catalog.Decimal `json:"tolerance"` // mm, what the measuring can be off
	Verdict   Verdict         `json:"verdict"`   // replace where a piece is to be replaced or missing; not-settled where no limit or no place decides
	Settled   bool            `json:"settled"`   // each piece has one place in every way of placing as many pieces
	Pieces    []Piece         `json:"pieces"`    // in the order given
	Places    []Place         `json:"places"`    // in the order of the nominals
	Missing   int             `json:"missing"`   // pieces fewer than the places take; not counted where every piece was named
	Extra     int             `json:"extra"`     // pieces without a place
}

// Got is a measured piece.
type Got struct {
	Length measure.Quantity
	Seal   string // where the person knows which seal it is: it is put at no other
}

// Piece is one of a handful.
type Piece struct {
	Named   string          `json:"named,omitempty"` // the seal that it was said to be
	Length  catalog.Decimal `json:"length"`          // mm, measured
	Codes   []Code          `json:"codes"`           // several, no-nominal, no-place-left, other-unit
	Judged  *Judged         `json:"judged"`          // at the place that it is given; null for none
	Can     []string        `json:"can"`             // the seals that its length allows
	Options []string        `json:"options"`         // those of them that it has in some way of placing as many pieces
}

// Place is a nominal with the pieces that it is given.
type Place struct {
	Nominal Nominal `json:"nominal"`
	Pieces  []int   `json:"pieces"`  // numbers of the pieces, 1 for the first given
	Codes   []Code  `json:"codes"`   // piece-missing, place-unfilled
	Replace int     `json:"replace"` // how many of its pieces are to be replaced
	Settled bool    `json:"settled"` // no other piece can be here, and none of these elsewhere
}

// Sort assigns measured pieces to the places of the nominals. Where the person has
// named every piece, each is judged for itself and none is missing. Off is what the
// measuring can be off; not known takes [Caliper]. The error is an [*InputError].
func Sort(ns []Nominal, got []Got, off measure.Quantity) (*Sorted, error) {
	o, err := offBy(off)
	if err != nil {
		return nil, err
	}
	if len(got) == 0 {
		return nil, &InputError{"no piece was measured", "give the length of each piece"}
	}
	if len(got) > MostPieces {
		return nil, &InputError{fmt.Sprintf("%d pieces are more than %d", len(got), MostPieces), "sort them unit by unit"}
	}
	lengths := make([]decimal.Decimal, len(got))
	for i, g := range got {
		if lengths[i], err = LengthOf(g.Length); err != nil {
			return nil, err
		}
		if g.Seal != "" && !slices.ContainsFunc(ns, func(n Nominal) bool { return same(n.Seal, g.Seal) }) {
			return nil, &InputError{"there is no seal " + g.Seal + " here", "name one of " + names(ns) + ", or leave the name out"}
		}
	}
	can := make([][]bool, len(got)) // of a piece: which nominals it can be
	for i, g := range got {
		can[i] = make([]bool, len(ns))
		for j := range ns {
			if g.Seal == "" {
				can[i][j] = ns[j].Can(lengths[i], o)
				continue
			}
			// Who knows which seal it is says that it was there, however short it is
			// by now; only longer than a new one it cannot be.
			can[i][j] = same(ns[j].Seal, g.Seal) && lengths[i].LessThanOrEqual(ns[j].top(o))
		}
	}
	var slots []int // the nominal of each slot
	for j, n := range ns {
		if err := n.Check(); err != nil {
			return nil, err
		}
		if n.Qty > MostPieces {
			return nil, &InputError{fmt.Sprintf("seal %s: %d at one place are more than %d", n.Seal, n.Qty, MostPieces), "check the quantity"}
		}
		for range n.Qty {
			slots = append(slots, j)
		}
	}
	if len(slots) > MostPieces {
		return nil, &InputError{fmt.Sprintf("the nominals take %d pieces, more than %d", len(slots), MostPieces), "sort them role by role"}
	}
	at := assign(ns, lengths, slots, can)
	s := &Sorted{Tolerance: known(o), Verdict: Good, Settled: true, Pieces: []Piece{}, Places: []Place{}}
	for _, n := range ns {
		s.Places = append(s.Places, Place{Nominal: n, Pieces: []int{}, Codes: []Code{}, Settled: true})
	}
	options := possible(ns, lengths, slots, can, at)
	for i, l := range lengths {
		p := Piece{Named: got[i].Seal, Length: known(l), Codes: []Code{}, Can: []string{}, Options: []string{}}
		for j, n := range ns {
			if can[i][j] {
				p.Can = append(p.Can, n.Seal)
			}
		}
		for _, j := range options[i] {
			p.Options = append(p.Options, ns[j].Seal)
		}
		switch {
		case len(p.Can) == 0:
			p.Codes = append(p.Codes, NoNominal)
			if j := slices.IndexFunc(ns, func(n Nominal) bool { return same(n.Seal, got[i].Seal) }); j >= 0 {
				x := Judge(ns[j], l, o)
				p.Judged = &x
			}
			s.Extra++
		case at[i] < 0:
			p.Codes = append(p.Codes, NoPlaceLeft)
			s.Extra++
		}
		if !slices.ContainsFunc(ns, func(n Nominal) bool { return n.Can(l, o) }) && slices.ContainsFunc(ns, func(n Nominal) bool {
			return (got[i].Seal == "" || same(n.Seal, got[i].Seal)) && len(measure.Doubts(got[i].Length, measure.Of(n.Length.Num, measure.Millimetre), decimal.NewFromInt(1).Sub(catalog.Deepest))) > 0
		}) {
			p.Codes = append(p.Codes, OtherUnit)
		}
		// A piece that is left out of one way and placed in another is open too.
		open := len(options[i]) > 1 || at[i] < 0 && len(options[i]) > 0
		if open {
			p.Codes = append(p.Codes, Several)
			s.Settled = false
		}
		if at[i] >= 0 {
			j := slots[at[i]]
			x := Judge(ns[j], l, o)
			p.Judged = &x
			place := &s.Places[j]
			place.Pieces = append(place.Pieces, i+1)
			if x.Verdict == Replace {
				place.Replace++
			}
			s.note(x.Verdict)
		}
		if open {
			for _, j := range options[i] {
				s.Places[j].Settled = false
			}
		}
		s.Pieces = append(s.Pieces, p)
	}
	if !slices.ContainsFunc(got, func(g Got) bool { return g.Seal == "" }) {
		// Single seals, not a handful: nothing is counted.
		s.Places = slices.DeleteFunc(s.Places, func(p Place) bool { return len(p.Pieces) == 0 })
		if s.Extra > 0 {
			s.note(Replace) // what is too long for what it is said to be does not belong there
		}
		return s, nil
	}
	for j := range s.Places {
		p := &s.Places[j]
		switch n := p.Nominal.Qty - len(p.Pieces); {
		case n > 0 && len(p.Pieces) == 0:
			p.Codes = append(p.Codes, PlaceUnfilled)
			s.Missing += n
		case n > 0:
			p.Codes = append(p.Codes, PieceMissing)
			s.Missing += n
		}
	}
	if s.Missing > 0 {
		s.note(Replace)
	}
	if s.Extra > 0 {
		s.note(NotSettled)
	}
	return s, nil
}

func same(a, b string) bool { return catalog.Fold(a) == catalog.Fold(b) }

func names(ns []Nominal) string {
	out := make([]string, len(ns))
	for i, n := range ns {
		out[i] = n.Seal
	}
	return strings.Join(out, ", ")
}

// note makes the verdict of the whole the gravest of its parts.
func (s *Sorted) note(v Verdict) {
	rank := func(v Verdict) int { return slices.Index([]Verdict{Good, NotSettled, Replace}, v) }
	if rank(v) > rank(s.Verdict) {
		s.Verdict = v
	}
}

// perMillimetre is in how many parts of a millimetre losses are counted for the
// assignment: as whole numbers, so that sums are exact.
const perMillimetre = 1_000_000

// assign gives the slot of each piece, -1 for none: as many pieces as possible,
// with the least loss in all. It is the Hungarian method on a square of costs
// (Kuhn 1955, in the form with potentials).
func assign(ns []Nominal, lengths []decimal.Decimal, slots []int, can [][]bool) []int {
	n := len(lengths) + len(slots)
	// Leaving a piece out costs more than all losses together can.
	none := int64(perMillimetre) * longest.IntPart() * int64(n+1)
	costs := make([][]int64, len(lengths))
	for i, l := range lengths {
		costs[i] = make([]int64, n)
		for j := range costs[i] {
			switch {
			case j >= len(slots):
				costs[i][j] = none
			case !can[i][slots[j]]:
				costs[i][j] = 2*none + 1 // never, since leaving out is cheaper
			default:
				costs[i][j] = ns[slots[j]].Length.Num.Sub(l).Abs().Mul(decimal.NewFromInt(perMillimetre)).IntPart()
			}
		}
	}
	cost := func(i, j int) int64 {
		if i < len(costs) {
			return costs[i][j]
		}
		return 0
	}
	u, v := make([]int64, n+1), make([]int64, n+1)
	match, way := make([]int, n+1), make([]int, n+1) // of a column: the row, from 1
	for i := 1; i <= n; i++ {
		match[0] = i
		j0 := 0
		least := make([]int64, n+1)
		used := make([]bool, n+1)
		for j := range least {
			least[j] = math.MaxInt64
		}
		for match[j0] != 0 {
			used[j0] = true
			i0, delta, j1 := match[j0], int64(math.MaxInt64), 0
			for j := 1; j <= n; j++ {
				if used[j] {
					continue
				}
				if c := cost(i0-1, j-1) - u[i0] - v[j]; c < least[j] {
					least[j], way[j] = c, j0
				}
				if least[j] < delta {
					delta, j1 = least[j], j
				}
			}
			for j := 0; j <= n; j++ {
				if used[j] {
					u[match[j]] += delta
					v[j] -= delta
				} else {
					least[j] -= delta
				}
			}
			j0 = j1
		}
		for j0 != 0 {
			j1 := way[j0]
			match[j0] = match[j1]
			j0 = j1
		}
	}
	at := make([]int, len(lengths))
	for i := range at {
		at[i] = -1
	}
	for j := 1; j <= len(slots); j++ {
		if i := match[j] - 1; i < len(lengths) {
			at[i] = j - 1
		}
	}
	return at
}

// possible gives for each piece the nominals at which it stands in some way of
// placing as many pieces as at places, by changing as few of them as needed.
func possible(ns []Nominal, lengths []decimal.Decimal, slots []int, can [][]bool, at []int) [][]int {
	out := make([][]int, len(lengths))
	for i, l := range lengths {
		for j := range ns {
			if can[i][j] && ns[j].Qty > 0 && forced(slots, can, at, i, j) {
				out[i] = append(out[i], j)
			}
		}
		slices.SortStableFunc(out[i], func(a, b int) int {
			return cmp.Or(ns[a].Length.Num.Sub(l).Abs().Cmp(ns[b].Length.Num.Sub(l).Abs()), cmp.Compare(a, b))
		})
	}
	return out
}

// forced tells whether as many pieces as at places can be placed with this piece at
// the nominal. It puts the piece there, and then looks for augmenting paths that
// place again what had to give way.
func forced(slots []int, can [][]bool, at []int, piece, nominal int) bool {
	if at[piece] >= 0 && slots[at[piece]] == nominal {
		return true
	}
	of := make([]int, len(slots)) // of a slot: its piece
	for j := range of {
		of[j] = -1
	}
	missing := 0
	placed := make([]bool, len(at))
	for i, j := range at {
		if j >= 0 {
			of[j], placed[i] = i, true
		}
	}
	if placed[piece] {
		of[at[piece]] = -1
		missing++
	}
	mine := slices.Index(slots, nominal) // the slots of a nominal are alike
	if k := of[mine]; k >= 0 {
		placed[k] = false
		missing++
	}
	of[mine], placed[piece] = piece, true
	missing-- // the piece itself is placed
	seen := make([]bool, len(slots))
	var try func(i int) bool
	try = func(i int) bool {
		for j, n := range slots {
			if j == mine || seen[j] || !can[i][n] {
				continue
			}
			seen[j] = true
			if of[j] < 0 || try(of[j]) {
				of[j] = i
				return true
			}
		}
		return false
	}
	for found := true; missing > 0 && found; {
		found = false
		clear(seen) // what one failed search has seen, the next need not see again
		for i := range placed {
			if !placed[i] && try(i) {
				placed[i], found = true, true
				missing--
				break
			}
		}
	}
	return missing <= 0
}
