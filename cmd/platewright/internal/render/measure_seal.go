package render

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"platewright/catalog"
	"platewright/resolve/measure/seal"
)

// MeasureSealSchema names the form of [MeasureSeal] as JSON.
const MeasureSealSchema = "platewright/measure-seal/1"

// MeasureSeal is the answer about measured seals.
type MeasureSeal struct {
	Schema string `json:"schema"`
	Bench
	Groups []SealGroup           `json:"groups"` // one for each set of seals that the unit can have
	Fits   []catalog.VariantCode `json:"fits"`   // the variants in which every piece has a place
}

// SealGroup is a handful sorted to the seals that some variants have.
type SealGroup struct {
	Variants []catalog.VariantCode `json:"variants"` // empty for figures on their own
	seal.Sorted
}

func sealVerdict(v seal.Verdict) (string, style) {
	switch v {
	case seal.Good:
		return "good", good
	case seal.Replace:
		return "REPLACE", alert
	case seal.NotThis:
		return "NOT THIS SEAL", alert
	case seal.NotSettled:
		return "not settled", warn
	}
	return "", plain
}

// SealSentence says a code about seals in words, without a full stop. It is ""
// for a code that it does not know.
func SealSentence(c seal.Code, n seal.Nominal) string {
	switch c {
	case seal.BelowLimit:
		return "below its limit" + ofMillimetres(n.Least)
	case seal.AtLimit:
		return "nearer to its limit" + ofMillimetres(n.Least) + " than the measuring can tell: measure again"
	case seal.AboveLimit:
		return "not below its limit" + ofMillimetres(n.Least)
	case seal.NoLimit:
		return "no limit is on record for it"
	case seal.TooLong:
		return "longer than a new one can be, and use makes none longer"
	case seal.TooShort:
		return "shorter than use makes it: it is another seal, or torn, and cannot stay"
	case seal.OneTimeUse:
		return "replaced all the same once it was pulled"
	case seal.NoSpring:
		return "not above its fitted height" + ofMillimetres(n.Fitted) + ": it no longer presses"
	case seal.Several:
		return "it can have come from more than one place"
	case seal.NoNominal:
		return "no seal of the unit can be this long or have worn to this"
	case seal.NoPlaceLeft:
		return "the places that it can have come from are taken by other pieces"
	case seal.OtherUnit:
		return "is the unit right? In another unit it would be a length of one of these seals"
	case seal.PieceMissing:
		return "a piece is missing"
	case seal.PlaceUnfilled:
		return "no piece is from here"
	}
	return ""
}

func ofMillimetres(d catalog.Decimal) string {
	if !d.Known {
		return ""
	}
	return " of " + millimetres(d)
}

// millimetres writes a length to hundredths, beyond which nothing was measured.
func millimetres(d catalog.Decimal) string { return glued(d.Num.Round(2).String() + " mm") }

// MeasureSealText writes what measured seals are and what is to be done with them.
func MeasureSealText(w io.Writer, m *MeasureSeal, s Screen) error {
	p := newPage(s)
	if m.Edition.Name != "" {
		p.demoRemark(m.Edition)
	}
	p.gap()
	if len(m.Groups) > 1 {
		p.put(0, 2, say("NOT SETTLED: the unit can have different seals").in(warn), say("; each set is answered for itself."))
		if n := len(m.Fits); n > 0 && n < len(m.Variants) {
			p.put(2, 2, say("Every piece has a place only in "+someVariants(m.Fits)).in(strong), say(": seals are changed in repairs, so look at something else too before you take it for that."))
		}
	}
	for i := range m.Groups {
		p.sealGroup(&m.Groups[i])
	}
	p.benchFoot(m.Bench)
	_, err := w.Write(p.buf.Bytes())
	return err
}

func (p *page) sealGroup(g *SealGroup) {
	p.gap()
	condemned := 0
	for _, x := range g.Places {
		condemned += x.Replace
	}
	var parts []string
	if condemned > 0 {
		parts = append(parts, "REPLACE "+strconv.Itoa(condemned)+" of "+counted(len(g.Pieces), "piece", "pieces"))
	}
	if g.Missing > 0 {
		parts = append(parts, counted(g.Missing, "piece", "pieces")+" MISSING")
	}
	if g.Extra > 0 {
		parts = append(parts, counted(g.Extra, "piece", "pieces")+" WITHOUT A PLACE")
	}
	head, st := strings.Join(parts, ", "), alert
	switch {
	case len(parts) > 0:
	case g.Verdict == seal.NotSettled:
		head, st = "NOT SETTLED: there is no limit to hold it against", warn
	case len(g.Pieces) == 1:
		head, st = "GOOD by its length", good
	default:
		head, st = "ALL GOOD by their length", good
	}
	if len(g.Variants) > 0 {
		head += " (" + someVariants(g.Variants) + ")"
	}
	p.put(0, 2, say(head).in(st))
	if !g.Settled {
		p.put(0, 2, say("! ").in(warn), say("The pieces can be placed in more than one way: this is the one with the least wear."))
	}
	for i := range g.Places {
		x := &g.Places[i]
		n := x.Nominal
		p.gap()
		name := glued(n.Seal)
		if n.Place != "" {
			name += ", " + n.Place
		}
		want := glued(strconv.Itoa(n.Qty) + "×")
		once := ""
		if n.OneTime {
			once = ", used once only"
		}
		p.put(0, 4, say(name).in(strong), sayf(": %s of %s%s", want, sealNominal(n), once), say(tail(" ", sourced(n.Source, ""))).in(muted))
		for _, c := range x.Codes {
			text := SealSentence(c, n)
			if k := n.Qty - len(x.Pieces); k > 1 || len(x.Pieces) == 0 && n.Qty > 1 {
				text = fmt.Sprintf("%d pieces are missing", k)
			}
			p.put(2, 2, say(capital(text)).in(alert))
		}
		for _, k := range x.Pieces {
			p.sealPiece(k, &g.Pieces[k-1])
		}
	}
	first := true
	for k := range g.Pieces {
		x := &g.Pieces[k]
		if slicesHasPlace(g, k+1) {
			continue
		}
		if first {
			p.head(warn, "WITHOUT A PLACE")
			first = false
		}
		p.sealPiece(k+1, x)
	}
	p.gap()
	p.put(0, 2, sayf("The measuring can be off by %s. Loss in per cent is the compression set of ASTM D395 method A; set is that of method B and ISO 815-1 over the fitted height.", millimetres(g.Tolerance)).in(muted))
}

func slicesHasPlace(g *SealGroup, piece int) bool {
	for _, x := range g.Places {
		for _, k := range x.Pieces {
			if k == piece {
				return true
			}
		}
	}
	return false
}

func sealNominal(n seal.Nominal) string {
	s := glued(n.Length.String())
	if n.Tolerance.Known && !n.Tolerance.Num.IsZero() {
		s = glued(n.Length.String() + " ± " + n.Tolerance.String())
	}
	s += string(glue) + "mm new"
	if n.Least.Known {
		s += ", at least " + millimetres(n.Least)
	}
	if n.Fitted.Known {
		s += ", fitted " + millimetres(n.Fitted)
	}
	return s
}

func (p *page) sealPiece(k int, x *seal.Piece) {
	ss := []span{sayf("piece %d, %s", k, millimetres(x.Length))}
	var n seal.Nominal
	if j := x.Judged; j != nil {
		n = j.Nominal
		word, st := sealVerdict(j.Verdict)
		ss = append(ss, say(": "), say(word).in(st))
		if j.Loss.Num.IsPositive() {
			ss = append(ss, sayf(", lost %s (%s)", millimetres(j.Loss), glued(j.Percent.String()+" %")))
		}
		if j.Set.Known && j.Set.Num.IsPositive() {
			ss = append(ss, sayf(", set %s", glued(j.Set.String()+" %")))
		}
		for _, c := range j.Codes {
			if c == seal.OneTimeUse && j.Verdict != seal.Good {
				continue // the place says so, and it is replaced anyway
			}
			ss = append(ss, say("; "+SealSentence(c, n)))
		}
	}
	for _, c := range x.Codes {
		if c == seal.NoNominal && x.Judged != nil {
			continue // it was named, and the verdict says why it is not that seal
		}
		text := SealSentence(c, n)
		if c == seal.Several && len(x.Options) > 1 {
			text = "it can be " + orList(x.Options)
		}
		sep := "; "
		if x.Judged == nil && len(ss) == 1 {
			sep = ": "
		}
		ss = append(ss, say(sep), say(text).in(warn))
	}
	p.put(2, 4, ss...)
}

func orList(names []string) string {
	out := make([]string, len(names))
	for i, n := range names {
		out[i] = glued(n)
	}
	return anyOf(out)
}
