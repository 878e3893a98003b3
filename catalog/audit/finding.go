package audit

import (
	"crypto/sha256"
	"encoding/base32"
	"hash"
	"slices"
	"strconv"
	"strings"

	"platewright/catalog"
)

// Kind is what a finding says: a closed list, stable, for programs. See [Kinds].
type Kind string

// Severity is how bad a finding is.
type Severity string

// The severities, from the worst to the least.
const (
	Wrong    Severity = "wrong"    // the catalogue contradicts itself, or states what can never hold
	Doubtful Severity = "doubtful" // it can be meant, and more often is not: a person should look
	Thin     Severity = "thin"     // nothing is wrong; something is missing or left over
)

// Severities lists the severities from the worst to the least.
var Severities = []Severity{Wrong, Doubtful, Thin}

// AtLeast tells whether s is as bad as o, or worse.
func (s Severity) AtLeast(o Severity) bool {
	return slices.Index(Severities, s) <= slices.Index(Severities, o)
}

// The kinds of findings, in these terms. The conditions of a statement are its
// serial range, its build range and its marks, that of the scope mark included. Two
// statements overlap if both ranges do, also with those of the variant, and no
// mark is asked by both with different values; a date that is known by its month or
// year only reaches to the ends of it. One statement holds wherever another does
// if its ranges hold the other's and its marks are among the other's. A statement is for a
// variant if its scope is the variant, its family, or a MARK=VALUE that the variant
// shows (its own rows of the mark, else its family's). A fits statement for a
// variant is ruled out if one against its part, or against everything in the
// role, holds wherever it does. Two variants differ in a role if the sets of these
// differ: the fits statements for each that are not ruled out (part, position,
// quantity, conditions); the statements against a part that one of those states,
// or leads to by supersession; the statements that it takes nothing; the
// specification of its fill.
const (
	// One text in the fields that mean the variant names different variants; or a
	// whole text can be read in two ways, with fields of other widths or by another
	// layout of the same assembly, and the two ways name different variants (a
	// check character is not counted on). Variants that one layout names are told
	// apart by a serial number or build date that it always spells, if their own
	// ranges do not meet. On the assembly that follows none it is always a finding,
	// on another one only if the variants differ in one of its roles; the first
	// decides all roles, another one its own. Wrong if variants differ in a role that
	// the assembly decides and no deciding mark (of the assembly; of the first, any)
	// tells them apart, doubtful if marks tell all such pairs apart, thin if they do
	// not differ.
	SameReading Kind = "same-reading"
	// The code of a variant cannot stand in the variant fields of its layout: wrong.
	VariantOffLayout Kind = "variant-off-layout"
	// The text of a plates row cannot stand in the variant fields of its layout: wrong.
	PlateOffLayout Kind = "plate-off-layout"
	// A variant names a layout of another maker than its family's: doubtful.
	LayoutOfOtherMaker Kind = "layout-of-other-maker"

	// Two statements for one variant or family overlap, one says that a part fits
	// in a role and the other that it, or everything, does not. An exception is
	// no contradiction: a statement against that is more special than the one
	// for (a variant before a mark before a family; two marks are alike), or of
	// the same target and with narrower conditions is meant so. Wrong if the
	// conditions of the one for hold those of the one against, else doubtful.
	Contradiction Kind = "contradiction"
	// Two fits statements for one variant or family overlap and state the same part
	// in the same role and position in different quantities, and neither is ruled out:
	// wrong.
	QuantityDiffers Kind = "quantity-differs"
	// Two fits statements for one variant or family overlap and state different
	// parts in one role, position and rank, neither of which serves for the
	// other by supersession, and neither is ruled out. Doubtful.
	EqualRank Kind = "equal-rank"
	// As EqualRank, for statements of one target that both have a serial range or
	// both a build range: a break that was drawn twice. Wrong.
	BreakOverlap Kind = "break-overlap"
	// The serial or build ranges of the fits statements of one target, role,
	// position and marks leave out numbers between them, and no statement of the
	// target, role and position without such a range and with no mark that they
	// do not ask fills the gap. Doubtful.
	BreakGap Kind = "break-gap"
	// A statement of the scope variant can never hold: its range misses the
	// variant's own, or it asks a value of a mark of which the variant shows
	// others only. Doubtful.
	NeverApplies Kind = "never-applies"
	// Statements of one target differ in their names, notes and sources only. Thin.
	DuplicateStatement Kind = "duplicate-statement"

	// Numbers replace each other in a circle: wrong. (An import refuses these.)
	SupersessionCircle Kind = "supersession-circle"
	// An ended number has no successor. Doubtful if a statement, a companion or a
	// work names it, else thin.
	EndedWithoutSuccessor Kind = "ended-without-successor"
	// An ended number has successors, and none of them can be bought: doubtful.
	EndedChain Kind = "ended-chain"
	// Numbers that serve for each other have different successors of which none
	// serves for the other: doubtful; or some have a successor of their own while
	// others are still sold: thin.
	TwoWaySuccessors Kind = "two-way-successors"

	// A kit that is stated in a role of a family holds no part of a one-time-use
	// role of which all other kits with contents that are stated in the same role
	// of the family hold one. A kit holds a role if a part of its contents, or of
	// the contents of those, is stated in that role anywhere. Doubtful.
	KitLacksSister Kind = "kit-lacks-sister"
	// A scope of work takes the kit's role and requires a one-time-use role of the
	// same assembly, no statement of that role is for any variant of the family,
	// and the kit does not hold it: the seal is nowhere. Wrong.
	KitLacksScope Kind = "kit-lacks-scope"
	// A kit is stated, and nothing is recorded of what is in it: thin.
	KitWithoutContents Kind = "kit-without-contents"

	// A scope of work takes a role in which some variants of a family have no fits
	// statement, no fill and no statement that they take nothing, and no kit that is
	// stated for the family in a role of the same scope holds it. Doubtful if a scope
	// requires the role and other variants of the family have one, else thin.
	RoleUnstated Kind = "role-unstated"
	// Statements of a variant rule out every part that is stated for it in a role,
	// or in a position of it, and none says that it takes nothing there: doubtful.
	RoleRuledOut Kind = "role-ruled-out"
	// A family has no row in a table of figures (sites, torques, fills, seals,
	// rings, ports), for itself or a variant, in which at least half of the other
	// families of the maker, and at least one, have rows. Thin.
	FiguresMissing Kind = "figures-missing"

	// No variant and no family shows a mark: thin.
	MarkUnshown Kind = "mark-unshown"
	// A statement asks a value of a mark that no variant and no family shows: doubtful.
	ValueUnshown Kind = "value-unshown"

	// An offer is for a part that the catalogue does not have: wrong. (An import
	// refuses these.)
	OfferOfUnknownPart Kind = "offer-of-unknown-part"
	// An offer is for a part that is no longer made: doubtful.
	OfferOfEndedPart Kind = "offer-of-ended-part"
	// A supplier has two stock numbers for one part, in packs of the same size, at
	// different prices: doubtful.
	OfferTwice Kind = "offer-twice"
	// A price from a number of packs on is for no offer that there is: wrong.
	BreakWithoutOffer Kind = "break-without-offer"
	// A price from a number of packs on is not below that for fewer: doubtful.
	BreakDearer Kind = "break-dearer"
	// No statement, kit, companion, supersession (as the successor, or in a two-way
	// row), work or fluid specification names a part: thin.
	PartUnnamed Kind = "part-unnamed"

	// The codes or the names of two fluid specifications differ by one letter, and
	// no row says that one serves for the other: doubtful.
	SpecsNearlyNamed Kind = "specs-nearly-named"
	// A fluid meets no specification: it serves by its name only. Doubtful.
	FluidMeetsNothing Kind = "fluid-meets-nothing"
	// A specification serves for another, and no fluid that is sold meets it: doubtful.
	ServesWithoutFluid Kind = "serves-without-fluid"
	// A fill asks for a specification, and no fluid that is sold meets it or one
	// that serves for it: wrong.
	FillWithoutFluid Kind = "fill-without-fluid"
	// A figure of a fluid's data sheet is beyond what a specification asks that the
	// fluid is said to meet: wrong.
	SheetOffLimits Kind = "sheet-off-limits"

	// A trouble code of a family points at an actuator site that neither the family
	// nor a variant of it has: doubtful.
	FaultWithoutSite Kind = "fault-without-site"

	// Two codes of one layout are one slip of reading apart (a confusable
	// character, a swap of neighbours, one dropped, one doubled), their variants
	// differ in a role, and no deciding mark tells them apart: for both a value is
	// shown and none in common, or, measured, the bands widened by both tolerances
	// do not meet. Thin if a check character covers all that means the variant,
	// else wrong.
	LookAlike Kind = "look-alike"
	// Variants of one family, each of which no deciding mark tells from another of
	// them from which it differs in a role: only the plate tells them apart. Two
	// that are so are in one finding. Thin.
	NothingToLookAt Kind = "nothing-to-look-at"

	// Two names are the same but for characters that look alike (0 O Q, 1 I L, 2 Z,
	// 5 S, 6 G, 8 B) or for spaces and separators where these count: numbers of
	// parts, codes of one small table, values of one mark, positions of one role.
	// Doubtful.
	LooksLike Kind = "looks-like"
	// Two codes of one table go by the same name: thin.
	SameName Kind = "same-name"

	// A caution rides on nothing: thin.
	CautionUnused Kind = "caution-unused"
	// Nothing rests on a source: thin.
	SourceUnused Kind = "source-unused"
)

// Kinds lists every kind that a [Finding] can be of.
var Kinds = []Kind{SameReading, VariantOffLayout, PlateOffLayout, LayoutOfOtherMaker, Contradiction, QuantityDiffers, EqualRank, BreakOverlap,
	BreakGap, NeverApplies, DuplicateStatement, SupersessionCircle, EndedWithoutSuccessor, EndedChain, TwoWaySuccessors, KitLacksSister,
	KitLacksScope, KitWithoutContents, RoleUnstated, RoleRuledOut, FiguresMissing, MarkUnshown, ValueUnshown, OfferOfUnknownPart,
	OfferOfEndedPart, OfferTwice, BreakWithoutOffer, BreakDearer, PartUnnamed, SpecsNearlyNamed, FluidMeetsNothing, ServesWithoutFluid, FillWithoutFluid, SheetOffLimits, FaultWithoutSite, LookAlike,
	NothingToLookAt, LooksLike, SameName, CautionUnused, SourceUnused}

// Finding is one thing that is doubtful in the meaning of a catalogue.
type Finding struct {
	ID       string   `json:"id"` // stable: it changes only when what the finding states changes
	Kind     Kind     `json:"kind"`
	Severity Severity `json:"severity"`
	Rows     []Row    `json:"rows"` // the rows that it rests on, the one to look at first; of many only the first
	Facts    Facts    `json:"facts"`
}

// Row names a row of the catalogue.
type Row struct {
	Table string `json:"table"`
	Key   string `json:"key"`            // the cells of its key, a slash between
	File  string `json:"file,omitempty"` // where the catalogue is read from files
	Line  int    `json:"line,omitempty"`
}

// Facts are what a finding states, in the terms of the catalogue. Which of them
// stand depends on the kind.
type Facts struct {
	Family   string                `json:"family,omitempty"`
	Maker    string                `json:"maker,omitempty"`
	Layout   string                `json:"layout,omitempty"`
	Layouts  []string              `json:"layouts,omitempty"`
	Assembly string                `json:"assembly,omitempty"`
	Text     string                `json:"text,omitempty"`     // of a plate or label, or of the name that two things share
	Variants []catalog.VariantCode `json:"variants,omitempty"` // the first few
	Count    int                   `json:"count,omitempty"`    // of all variants concerned
	Of       int                   `json:"of,omitempty"`       // of how many
	Slip     Slip                  `json:"slip,omitempty"`     // by which one code is read as another
	Checked  bool                  `json:"checked,omitempty"`  // a check character catches the slip
	Role     string                `json:"role,omitempty"`
	Roles    []string              `json:"roles,omitempty"` // in which statements differ
	Position string                `json:"position,omitempty"`
	Parts    []catalog.PartNo      `json:"parts,omitempty"`
	Rank     int                   `json:"rank,omitempty"`
	Qty      []int                 `json:"qty,omitempty"`
	Covered  bool                  `json:"covered,omitempty"` // the statement against holds wherever the one for does
	Range    Range                 `json:"range,omitempty"`   // whether serial numbers or build dates are spoken of
	From     string                `json:"from,omitempty"`    // the first serial number or day that is left out or covered twice
	To       string                `json:"to,omitempty"`      // the last one
	Mark     string                `json:"mark,omitempty"`
	Values   []string              `json:"values,omitempty"` // of a mark, or positions
	Work     []string              `json:"work,omitempty"`
	Need     catalog.Need          `json:"need,omitempty"`
	Specs    []string              `json:"specs,omitempty"`
	Supplier string                `json:"supplier,omitempty"`
	Stocks   []string              `json:"stocks,omitempty"`
	Prices   []string              `json:"prices,omitempty"`
	Property catalog.Property      `json:"property,omitempty"`
	Site     string                `json:"site,omitempty"`
	Code     string                `json:"code,omitempty"` // a trouble code
	Table    string                `json:"table,omitempty"`
	Names    []string              `json:"names,omitempty"` // codes of a table that look or sound alike, or what is left over
	Named    bool                  `json:"named,omitempty"` // the part is named by a statement

	members uint64 // stands for all variants concerned, where not all are named
}

// Range is what a range is of.
type Range string

// The ranges of a statement.
const (
	OfSerial Range = "serial"
	OfBuilt  Range = "built"
)

// Slip is a single slip of reading a code.
type Slip string

// The slips.
const (
	SlipConfusable Slip = "confusable"
	SlipSwapped    Slip = "swapped"
	SlipDropped    Slip = "dropped"
	SlipDoubled    Slip = "doubled"
)

// maxNamed is how many variants a finding about many of them names.
const maxNamed = 6

// idLength is how many characters an identifier has: 60 bits of a digest. Among
// a million findings a chance of one in two million that two are the same.
const idLength = 12

var idAlphabet = base32.NewEncoding("0123456789abcdefghjkmnpqrstvwxyz").WithPadding(base32.NoPadding)

// identify fills in the identifier: a digest of the kind, the keys of the rows
// and the facts, codes and values in their folded form, so that neither the
// order of rows nor a spelling nor anything that is not stated here changes it.
func (f *Finding) identify() {
	d := digester{sha256.New()}
	d.put("kind", string(f.Kind), string(f.Severity))
	for _, r := range f.Rows {
		d.put("row", r.Table, foldCell(r.Key))
	}
	x := &f.Facts
	d.code("family", x.Family)
	d.code("maker", x.Maker)
	d.code("layout", x.Layout)
	d.code("layouts", x.Layouts...)
	d.code("assembly", x.Assembly)
	d.code("text", x.Text)
	for _, v := range x.Variants {
		d.code("variant", string(v))
	}
	d.count("count", x.Count, x.Of)
	d.put("slip", string(x.Slip), flag(x.Checked))
	d.code("role", x.Role)
	d.code("roles", x.Roles...)
	d.value("position", x.Position)
	for _, p := range x.Parts {
		d.code("part", string(p))
	}
	d.count("rank", x.Rank)
	d.count("qty", x.Qty...)
	d.put("range", flag(x.Covered), string(x.Range), x.From, x.To)
	d.code("mark", x.Mark)
	d.value("values", x.Values...)
	d.code("work", x.Work...)
	d.put("need", string(x.Need))
	d.code("specs", x.Specs...)
	d.code("supplier", x.Supplier)
	d.code("stocks", x.Stocks...)
	d.put("prices", x.Prices...)
	d.put("property", string(x.Property))
	d.code("site", x.Site)
	d.code("fault", x.Code)
	d.put("table", x.Table)
	d.value("names", x.Names...)
	d.put("named", flag(x.Named))
	if x.members != 0 {
		d.put("members", strconv.FormatUint(x.members, 36))
	}
	f.ID = idAlphabet.EncodeToString(d.Sum(nil))[:idLength]
}

type digester struct{ hash.Hash }

func (d digester) put(name string, texts ...string) {
	all := 0
	for _, t := range texts {
		all += len(t)
	}
	if all == 0 {
		return // what is not stated does not count, so that new facts leave old identifiers alone
	}
	d.Write([]byte(name))
	for _, t := range texts {
		d.Write([]byte{0})
		d.Write([]byte(t))
	}
	d.Write([]byte{1})
}

func (d digester) code(name string, texts ...string) { d.put(name, folded(texts, catalog.Fold)...) }
func (d digester) value(name string, texts ...string) {
	d.put(name, folded(texts, catalog.FoldValue)...)
}

func (d digester) count(name string, counts ...int) {
	texts := make([]string, len(counts))
	for i, n := range counts {
		if n != 0 {
			texts[i] = strconv.Itoa(n)
		}
	}
	d.put(name, texts...)
}

func flag(is bool) string {
	if is {
		return "yes"
	}
	return ""
}

func folded(texts []string, fold func(string) string) []string {
	out := make([]string, len(texts))
	for i, t := range texts {
		out[i] = fold(t)
	}
	return out
}

// foldCell folds the cells of a row's name one by one: values of marks keep
// their separators.
func foldCell(key string) string {
	parts := strings.Split(key, " / ")
	for i, p := range parts {
		if m, v, ok := strings.Cut(p, "="); ok {
			parts[i] = catalog.Fold(m) + "=" + catalog.FoldValue(v)
		} else {
			parts[i] = catalog.Fold(p)
		}
	}
	return strings.Join(parts, "/")
}
