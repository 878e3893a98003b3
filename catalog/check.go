package catalog

import (
	"fmt"
	"iter"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"

	"github.com/shopspring/decimal"
)

// This file holds every rule that a catalogue must obey, so that a package, a
// workbook, a test world and the store are judged alike: rules of one row
// (CheckRow), references between rows (References), rules of a row beside the
// catalogue's marks and roles (Context), rules of the whole (CheckWhole).

// CheckRow reports required cells that are empty and the rules of t that r
// breaks by itself.
func CheckRow(t *Table, r Row, at Place, report func(Finding)) {
	put := func(f Finding) {
		col := f.Column
		f.Place = at
		f.Column = col
		if f.Value == "" && col != "" {
			if c := t.Column(col); c != nil {
				f.Value = c.Get(r)
			}
		}
		report(f)
	}
	for _, c := range t.Columns {
		if c.Required && c.get(r) == "" {
			// A count may be zero only where zero is a sensible thing to write;
			// in a required column it never is.
			put(Finding{Code: Missing, Place: Place{Column: c.Name}, What: "the cell is empty and must not be", Mend: "fill in: " + c.Doc})
		}
	}
	if t.rules != nil {
		t.rules(r, put)
	}
}

// References yields what r refers to: the column, the table and the key there.
// References of which the target depends on a scope word are included.
func References(t *Table, r Row) iter.Seq2[string, Reference] {
	return func(yield func(string, Reference) bool) {
		for _, c := range t.Columns {
			if c.Ref == "" {
				continue
			}
			s := c.get(r)
			if s == "" {
				continue
			}
			if !yield(c.Name, Reference{c.Ref, MakeKey(Fold(s)), s}) {
				return
			}
		}
		for i, c := range t.Columns {
			if c.Kind != KindTarget {
				continue
			}
			if ref, ok := ScopeReference(t, t.Columns[i-1].get(r), c.get(r)); ok {
				yield(c.Name, ref)
			}
			return
		}
	}
}

// Reference names a row of a table by its key.
type Reference struct {
	Table string
	Key   string
	Text  string // as spelled in the cell
}

// ScopeReference gives what the target cell of a row of t refers to, which the
// scope word in the column before it decides.
func ScopeReference(t *Table, scope, target string) (ref Reference, ok bool) {
	table := scopeTable(t, scope)
	if table == "" || target == "" {
		return Reference{}, false
	}
	name := target
	if table == TMarks {
		name, _, _ = strings.Cut(target, "=")
	}
	return Reference{table, MakeKey(Fold(name)), target}, true
}

// ReferredTables gives the names of the tables that rows of t can refer to.
func ReferredTables(t *Table) []string {
	var out []string
	for i, c := range t.Columns {
		if c.Ref != "" {
			out = append(out, c.Ref)
		}
		if c.Kind == KindTarget {
			for _, w := range t.Columns[i-1].Words {
				out = append(out, scopeTable(t, w))
			}
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// scopeTable gives the table that the target column of a row of t names, "" for
// none.
func scopeTable(t *Table, scope string) string {
	switch t.Name {
	case TFits:
		switch FitScope(scope) {
		case FitFamily:
			return TFamilies
		case FitVariant:
			return TVariants
		case FitMark:
			return TMarks
		}
	case TShows, TFills, TTorques, TSites, TSeals, TRings, TPorts:
		switch ShowScope(scope) {
		case OfFamily:
			return TFamilies
		case OfVariant:
			return TVariants
		}
	case TCautionLinks:
		switch CautionOn(scope) {
		case OnWork:
			return TWork
		case OnRole:
			return TRoles
		case OnFamily:
			return TFamilies
		case OnMark:
			return TMarks
		case OnPart:
			return TParts
		}
	case TNotes:
		switch NoteOn(scope) {
		case NoteOnPart:
			return TParts
		case NoteOnVariant:
			return TVariants
		case NoteOnFamily:
			return TFamilies
		case NoteOnMark:
			return TMarks
		case NoteOnWork:
			return TWork
		}
	}
	return ""
}

func find(code FindingCode, column, what, mend string) Finding {
	return Finding{Code: code, Place: Place{Column: column}, What: what, Mend: mend}
}

func checkSpans(serial Span[Serial], built Span[Date], report func(Finding)) {
	if !serial.Valid() {
		report(find(BadRange, "serial_to", "the serial range ends before it starts, at "+serial.From.String(), "swap the ends or correct one"))
	}
	if built.From != 0 && built.To != 0 && built.From.First() > built.To.Last() {
		report(find(BadRange, "built_to", "the build date range ends before it starts, at "+built.From.String(), "swap the ends or correct one"))
	}
}

func assemblyRules(r *Assembly, report func(Finding)) {
	if r.Follows != "" && Fold(r.Follows) == Fold(r.Assembly) {
		report(find(BadCombination, "follows", "an assembly cannot follow itself", "leave the cell empty or name another assembly"))
	}
}

func variantRules(r *Variant, report func(Finding)) {
	checkSpans(Span[Serial]{r.SerialFrom, r.SerialTo}, Span[Date]{r.BuiltFrom, r.BuiltTo}, report)
}

var builtForms = []string{"YYWW", "YYMM", "YYYYMM", "YYYYMMDD", "YYYY"}

func fieldRules(r *Field, report func(Finding)) {
	if r.Max < r.Min {
		report(find(BadRange, "max", "the field's longest text is shorter than its shortest", "swap min and max or correct one"))
	}
	switch r.Kind {
	case FieldLiteral, FieldSet:
		if r.Chars == "" {
			report(find(Missing, "chars", "a "+string(r.Kind)+" field needs its characters", "write the text or the set of characters"))
		} else if err := CheckCode(r.Chars); err != nil {
			report(find(BadCode, "chars", err.(*CodeError).Reason, err.(*CodeError).Mend))
		}
	default:
		if r.Chars != "" {
			report(find(BadCombination, "chars", "a field of "+string(r.Kind)+" has no characters of its own", "leave the cell empty or make the kind set"))
		}
	}
	if r.Kind != FieldLiteral && (r.Min == 0 || r.Max == 0) {
		report(find(Missing, "min", "the field needs its fewest and most characters, at least one", "fill in min and max"))
	}
	if r.Max > 40 {
		report(find(BadNumber, "max", "no plate field has more than 40 characters", "check the number"))
	}
	if (r.Means == MeansBuilt) != (r.Form != "") {
		report(find(BadCombination, "form", "a built field needs its form, and no other field has one", "write one of "+strings.Join(builtForms, ", ")+" for a built field"))
	}
	if r.Form != "" && !slices.Contains(builtForms, r.Form) {
		report(find(BadCell, "form", "the form is not known", "write one of "+strings.Join(builtForms, ", ")))
	}
	if r.Form != "" && (r.Kind != FieldDigits || r.Min != len(r.Form) || r.Max != len(r.Form)) {
		report(find(BadCombination, "form", "a built field has digits, as many as its form has letters", "make kind digits and min and max "+strconv.Itoa(len(r.Form))))
	}
	if r.Means == MeansSerial && (r.Kind != FieldDigits || r.Max > 18) {
		report(find(BadCombination, "kind", "a serial field has digits, at most 18", "make kind digits; letters before a serial number are a field of their own"))
	}
	if (r.Means == MeansCheck) != (r.Scheme != "") {
		report(find(BadCombination, "scheme", "a check field needs its scheme, and no other field has one", "name the scheme of the check character"))
	}
	if r.Means == MeansCheck && r.Kind == FieldLiteral {
		report(find(BadCombination, "kind", "a check field is not literal text", "make kind digits, alphanum or set"))
	}
	if r.Scheme == "" && (len(r.Over)+len(r.Weights)+len(r.Values) > 0) {
		report(find(BadCombination, "over", "only a check field has over, weights and values", "leave them empty"))
	}
	if r.Scheme != "" {
		width := 1
		if r.Scheme == SchemeMod97_10 {
			width = 2
		}
		if r.Min != width || r.Max != width {
			report(find(BadCombination, "max", fmt.Sprintf("a check field of %s has %d characters", r.Scheme, width), "correct min and max"))
		}
		weighted := r.Scheme == SchemeMod11 || r.Scheme == SchemeMod11Comp
		if weighted != (len(r.Weights) > 0) {
			report(find(BadCombination, "weights", "a weighted scheme needs weights, and no other scheme has them", "write one whole number for each character covered"))
		}
		for _, w := range r.Weights {
			if n, err := strconv.Atoi(w); err != nil || n < 0 || n > 1000 {
				report(Finding{Code: BadCell, Place: Place{Column: "weights"}, Value: w, What: "a weight is a whole number from 0 to 1000", Mend: "correct it"})
			}
		}
		for _, v := range r.Values {
			chars, n, ok := strings.Cut(v, "=")
			if _, err := strconv.Atoi(n); !ok || err != nil || chars == "" || CheckCode(chars) != nil || !weighted {
				report(Finding{Code: BadCell, Place: Place{Column: "values"}, Value: v, What: "it is not CHARACTERS=NUMBER of a weighted scheme", Mend: "write such as AJ=1 BKS=2"})
			}
		}
	}
}

func markRules(r *Mark, report func(Finding)) {
	if r.Kind == MarkMeasured && r.Unit == "" {
		report(find(Missing, "unit", "a measured mark needs its unit", "write the unit, such as mm or Ω"))
	}
	if r.Kind != MarkMeasured && (r.Unit != "" || r.Tolerance.Known) {
		report(find(BadCombination, "unit", "only a measured mark has a unit and a tolerance", "leave them empty or make the kind measured"))
	}
	if r.Kind != MarkMeasured && r.Wears != "" {
		report(find(BadCombination, "wears", "only what is measured wears by a length", "leave it empty or make the kind measured"))
	}
	if r.Kind != MarkMeasured && r.Site != "" {
		report(find(BadCombination, "site", "only a measured mark measures a coil", "leave it empty or make the kind measured"))
	}
	if r.Wears != "" && r.Site != "" {
		report(find(BadCombination, "wears", "the resistance of a coil does not wear", "leave wears or site empty"))
	}
	for col, d := range map[string]Decimal{"tolerance": r.Tolerance, "effort": r.Effort} {
		if d.Negative() {
			report(find(BadNumber, col, "the number is negative", "write a number of zero or above"))
		}
	}
}

func showRules(r *Show, report func(Finding)) {
	if r.Tolerance.Negative() {
		report(find(BadNumber, "tolerance", "a tolerance is not negative", "write a number of zero or above"))
	}
}

func contentRules(r *Content, report func(Finding)) {
	if r.Kit.Key() == r.Part.Key() {
		report(find(Circle, "part", "a kit cannot hold itself", "name what is in the kit"))
	}
}

func fitRules(r *Fit, report func(Finding)) {
	checkSpans(Span[Serial]{r.SerialFrom, r.SerialTo}, Span[Date]{r.BuiltFrom, r.BuiltTo}, report)
	switch r.Effect {
	case Fits:
		if r.Part == "" {
			report(find(Missing, "part", "a statement that something fits needs the part", "name the part"))
		}
		if r.Qty == 0 {
			report(find(Missing, "qty", "a statement that something fits needs how many", "write how many the unit takes"))
		}
	case DoesNotFit:
		if r.Qty != 0 || r.Rank != 0 || r.Position != "" {
			report(find(BadCombination, "qty", "a statement that something does not fit has no quantity, position or rank", "leave these cells empty"))
		}
	}
	isMark := strings.Contains(r.Of, "=")
	if r.Of != "" && (r.Scope == FitMark) != isMark {
		report(find(BadCombination, "of", "the target does not suit the scope "+string(r.Scope), "write MARK=VALUE with the scope mark, and a code with family or variant"))
	}
}

func supersessionRules(r *Supersession, report func(Finding)) {
	if r.Old.Key() == r.New.Key() && r.Old != "" {
		report(find(Circle, "new", "a number cannot replace itself", "name the number that replaces it"))
	}
	if r.Kind == TwoWay && r.Qty > 1 {
		report(find(BadCombination, "qty", "numbers that serve for each other serve one for one", "write 1, or make the kind one-way"))
	}
}

func companionRules(r *Companion, report func(Finding)) {
	if r.Part.Key() == r.Companion.Key() && r.Part != "" {
		report(find(Circle, "companion", "a part cannot be its own companion", "name the part that must come along"))
	}
}

func serveRules(r *Serve, report func(Finding)) {
	if Fold(r.Spec) == Fold(r.ServedBy) && r.Spec != "" {
		report(find(Circle, "served_by", "a specification serves for itself anyway", "take the row away"))
	}
}

func fillRules(r *Fill, report func(Finding)) {
	for col, d := range map[string]Decimal{"refill": r.Refill, "dry": r.Dry} {
		if d.Negative() || d.Known && d.Num.IsZero() {
			report(find(BadNumber, col, "a volume is above zero", "write litres, or leave the cell empty if not known"))
		}
		if d.Known && d.Num.IntPart() > 200 {
			report(find(BadNumber, col, "no transmission takes more than 200 litres", "write litres"))
		}
	}
	if r.Refill.Known && r.Dry.Known && r.Refill.Num.GreaterThan(r.Dry.Num) {
		report(find(BadRange, "dry", "a dry unit takes less than a drained one", "swap the volumes or correct one"))
	}
	above(report, "a surface is above zero", "write cm², or leave the cell empty if not known", map[string]Decimal{"area": r.Area})
	if r.TempFrom.Known && r.TempTo.Known && r.TempFrom.Num.GreaterThan(r.TempTo.Num) {
		report(find(BadRange, "temp_to", "the temperature window ends before it starts", "swap the ends or correct one"))
	}
}

func supplierRules(r *Supplier, report func(Finding)) {
	for col, d := range map[string]Decimal{"freight": r.Freight, "free_freight": r.FreeFreight, "minimum": r.Minimum} {
		if d.Negative() {
			report(find(BadNumber, col, "an amount is not negative", "write an amount of zero or above"))
		}
	}
	if len(r.Currency) != 3 || strings.ToUpper(r.Currency) != r.Currency {
		report(find(BadCell, "currency", "it is not an ISO 4217 currency code", "write three capital letters, such as EUR"))
	}
	if r.Cutoff != "" {
		h, m, ok := strings.Cut(r.Cutoff, ":")
		hh, e1 := strconv.Atoi(h)
		mm, e2 := strconv.Atoi(m)
		if !ok || len(h) != 2 || len(m) != 2 || e1 != nil || e2 != nil || hh > 23 || mm > 59 || hh < 0 || mm < 0 {
			report(find(BadCell, "cutoff", "it is not a time of day", "write hh:mm, such as 15:30"))
		}
	}
}

func offerRules(r *Offer, report func(Finding)) {
	if r.Price.Negative() {
		report(find(BadNumber, "price", "a price is not negative", "correct the price"))
	}
	if r.Litres.Negative() {
		report(find(BadNumber, "litres", "a volume is not negative", "correct the volume"))
	}
}

func torqueRules(r *Torque, report func(Finding)) {
	if r.Torque.Known && !r.Torque.Num.IsPositive() {
		report(find(BadNumber, "torque", "a torque is above zero", "write N·m"))
	}
	if r.Tolerance.Negative() {
		report(find(BadNumber, "tolerance", "a tolerance is not negative", "write a number of zero or above"))
	}
}

func siteRules(r *Site, report func(Finding)) {
	if r.Ohm.Known && !r.Ohm.Num.IsPositive() {
		report(find(BadNumber, "ohm", "a coil's resistance is above zero", "write Ω"))
	}
	if r.Tolerance.Negative() {
		report(find(BadNumber, "tolerance", "a tolerance is not negative", "write a number of zero or above"))
	}
}

// above reports the columns whose number is known and not above zero.
func above(report func(Finding), what, mend string, columns map[string]Decimal) {
	for col, d := range columns {
		if d.Negative() || d.Known && d.Num.IsZero() {
			report(find(BadNumber, col, what, mend))
		}
	}
}

func sealRules(r *Seal, report func(Finding)) {
	above(report, "a length is above zero", "write mm, or leave the cell empty if not known", map[string]Decimal{"length": r.Length, "least": r.Least, "fitted": r.Fitted})
	if r.Tolerance.Negative() {
		report(find(BadNumber, "tolerance", "a tolerance is not negative", "write a number of zero or above"))
	}
	if r.Length.Known && r.Least.Known && r.Least.Num.GreaterThan(r.Length.Num) {
		report(find(BadRange, "least", "a new one would be below its own limit", "correct the length or the limit"))
	}
	if r.Length.Known && r.Fitted.Known && r.Fitted.Num.GreaterThan(r.Length.Num) {
		report(find(BadRange, "fitted", "it would be longer fitted than free", "correct the length or the fitted height"))
	}
}

func ringRules(r *Ring, report func(Finding)) {
	above(report, "a diameter is above zero", "write mm", map[string]Decimal{"inside": r.Inside, "section": r.Section})
}

// troubleCode is the form that SAE J2012 gives to a code: the system, a digit
// that says who defines it, and three hexadecimal digits.
var troubleCode = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^[PCBU][0-3][0-9A-F]{3}$`) })

func faultRules(r *Fault, report func(Finding)) {
	if !troubleCode().MatchString(r.Code) {
		report(find(BadCell, "code", "it is not a trouble code", "write a letter P, C, B or U, a digit from 0 to 3 and three hexadecimal digits, such as P0750"))
	}
}

func portRules(r *Port, report func(Finding)) {
	above(report, "it is above zero", "write a number above zero, or leave the cell empty if not known", map[string]Decimal{"pressure": r.Pressure, "volume": r.Volume})
	if r.Leak.Negative() {
		report(find(BadNumber, "leak", "a leak rate is not negative", "write a number of zero or above"))
	}
	if r.Medium == MediumVacuum && r.Pressure.Known && r.Pressure.Num.GreaterThan(decimal.NewFromInt(101)) {
		report(find(BadNumber, "pressure", "no vacuum is deeper than the air's own pressure, about 101 kPa", "write kPa below ambient"))
	}
}

func sheetRules(r *Sheet, report func(Finding)) {
	if r.Property != FlashPoint && r.Property != PourPoint {
		above(report, "it is above zero", "correct the figure", map[string]Decimal{"value": r.Value})
	}
}

func limitRules(r *Limit, report func(Finding)) {
	if !r.Least.Known && !r.Most.Known {
		report(find(BadCombination, "least", "a limit has a least or a most value", "fill in one of the two, or leave the row out"))
	}
	if r.Least.Known && r.Most.Known && r.Least.Num.GreaterThan(r.Most.Num) {
		report(find(BadRange, "most", "the range ends before it starts", "swap the ends or correct one"))
	}
}

func consumableRules(r *Consumable, report func(Finding)) {
	if (r.Qty > 0) == r.Litres.Known {
		report(find(BadCombination, "qty", "a consumable is counted in pieces or in litres", "fill in one of the two"))
	}
	above(report, "a volume is above zero", "write litres", map[string]Decimal{"litres": r.Litres})
}

func breakRules(r *Break, report func(Finding)) {
	if r.From < 2 {
		report(find(BadNumber, "from", "the price of a single pack stands in the offers", "write a number of packs above one"))
	}
	above(report, "a price is above zero", "write the price of one pack", map[string]Decimal{"price": r.Price})
}

func noteRules(r *Note, report func(Finding)) {
	if (r.State == NoteConfirmed) != (r.Confirmed != "") && r.State != NoteWithdrawn {
		report(find(BadCombination, "confirmed", "a confirmed note names who confirmed it, and only such a note does", "name the person, or make the state open"))
	}
}

// Located is a row with its place.
type Located[T any] struct {
	Row T
	At  Place
}

// WholeReader gives the rows of a table, with their places where known. The
// rows may be used only until the next one is asked for.
type WholeReader func(table string) iter.Seq2[Row, Place]

// CheckWhole reports what is wrong with a catalogue beyond its single rows and
// references: layouts that cannot be read, circles, a number that stands for
// two parts. It reads only the small tables, never variants, fit statements or
// shows rows; those are checked one by one, by [CheckRow] and [Context.Check].
func CheckWhole(rows WholeReader, report func(Finding)) {
	put := func(at Place, code FindingCode, column, value, what, mend string) {
		at.Column = column
		report(Finding{Code: code, Place: at, Value: value, What: what, Mend: mend})
	}

	// Layouts and their fields.
	fields := map[string][]Located[Field]{}
	for r, at := range rows(TFields) {
		f := *r.(*Field)
		k := Fold(f.Layout)
		fields[k] = append(fields[k], Located[Field]{f, at})
	}
	for r, at := range rows(TLayouts) {
		l := r.(*Layout)
		checkLayout(l, at, fields[Fold(l.Layout)], put)
	}

	// Assemblies follow one another without a circle, from one that carries the
	// unit's own plate.
	follows, root := map[string]string{}, ""
	for r, at := range rows(TAssemblies) {
		a := r.(*Assembly)
		follows[Fold(a.Assembly)] = Fold(a.Follows)
		switch {
		case a.Follows != "":
		case root != "":
			put(at, BadCombination, "follows", "", "two assemblies follow none, this one and "+root, "leave one without follows, the one that carries the unit's plate")
		default:
			root = a.Assembly
		}
	}
	for r, at := range rows(TAssemblies) {
		a := r.(*Assembly)
		start := Fold(a.Assembly)
		for k, n := follows[start], 0; k != "" && n <= len(follows); k, n = follows[k], n+1 {
			if k == start {
				put(at, Circle, "follows", a.Follows, "assemblies follow each other in a circle", "leave one of them without follows")
				break
			}
		}
	}

	// A further number must not be a part's own.
	parts := map[string]Part{}
	for r := range rows(TParts) {
		p := *r.(*Part)
		parts[p.Part.Key()] = p
	}
	for r, at := range rows(TNumbers) {
		n := r.(*Number)
		if p, ok := parts[Fold(n.Number)]; ok && p.Part.Key() != n.Part.Key() {
			put(at, Duplicate, "number", n.Number, "the number is the own number of the part "+string(p.Part), "use supersessions to say that one part serves for another")
		}
	}
	for r, at := range rows(TContents) {
		c := r.(*Content)
		if p, ok := parts[c.Kit.Key()]; ok && p.Kind != PartKit && p.Kind != PartSet {
			put(at, BadCombination, "kit", string(c.Kit), "only a kit or set has contents, and this part is a "+string(p.Kind), "make its kind kit or set, or take the row away")
		}
	}
	for r, at := range rows(TMeets) {
		m := r.(*Meet)
		if p, ok := parts[m.Fluid.Key()]; ok && p.Kind != PartFluid {
			put(at, BadCombination, "fluid", string(m.Fluid), "only a fluid meets a fluid specification, and this part is a "+string(p.Kind), "name the fluid's part number")
		}
	}
	kinds := map[string]RoleKind{}
	for r := range rows(TRoles) {
		o := r.(*Role)
		kinds[Fold(o.Role)] = o.Kind
	}
	for r, at := range rows(TFills) {
		f := r.(*Fill)
		if k, ok := kinds[Fold(f.Role)]; ok && k != RoleFluid {
			put(at, BadCombination, "role", f.Role, "a fill belongs to a fluid role", "name a role of the kind fluid")
		}
	}

	checkCircles(rows, put)
}

func checkLayout(l *Layout, at Place, fields []Located[Field], put func(at Place, code FindingCode, column, value, what, mend string)) {
	if len(fields) == 0 {
		put(at, Missing, "layout", l.Layout, "the layout has no fields", "add its fields to the table "+TFields)
		return
	}
	slices.SortStableFunc(fields, func(a, b Located[Field]) int { return a.Row.Place - b.Row.Place })
	names := map[string]bool{}
	hasVariant := false
	for _, f := range fields {
		k := Fold(f.Row.Field)
		if names[k] {
			put(f.At, Duplicate, "field", f.Row.Field, "the layout has two fields of this name", "give each field its own name")
		}
		names[k] = true
		hasVariant = hasVariant || f.Row.Means == MeansVariant
	}
	places := 0
	for _, f := range fields {
		if f.Row.Kind == FieldLiteral {
			places += len(Fold(f.Row.Chars))
		} else {
			places += f.Row.Max
		}
		if i := strings.IndexAny(Fold(f.Row.Chars), "?[],{|}~"); i >= 0 {
			put(f.At, BadCode, "chars", f.Row.Chars, "it holds a character that has a meaning in readings", "leave out ? [ ] , { | } ~")
		}
	}
	if len(fields) > 32 || places > 64 {
		put(at, TooLarge, "layout", l.Layout, fmt.Sprintf("the layout has %d fields and up to %d characters", len(fields), places), "no plate has more than 32 fields and 64 characters")
	}
	if !hasVariant {
		put(at, Missing, "layout", l.Layout, "no field of the layout means the variant", "set means to variant for the fields that tell variants apart")
	}
	for _, f := range fields {
		if f.Row.Means != MeansCheck {
			continue
		}
		longest, open := 0, false
		for _, g := range fields {
			covered := len(f.Row.Over) == 0 && g.Row.Means != MeansCheck
			for _, o := range f.Row.Over {
				if Fold(o) == Fold(g.Row.Field) {
					covered = true
				}
			}
			if !covered {
				continue
			}
			n := g.Row.Max
			if g.Row.Kind == FieldLiteral {
				n = len(Fold(g.Row.Chars))
			} else {
				open = open || g.Row.Min != g.Row.Max
			}
			open = open || g.Row.Optional
			longest += n
		}
		covers := map[string]bool{}
		for _, o := range f.Row.Over {
			switch {
			case !names[Fold(o)]:
				put(f.At, Dangling, "over", o, "the layout has no field of this name", "name a field of the same layout")
			case Fold(o) == Fold(f.Row.Field):
				put(f.At, Circle, "over", o, "a check field cannot cover itself", "name the fields that it covers")
			case covers[Fold(o)]:
				put(f.At, Duplicate, "over", o, "the field is named twice", "name each field once")
			}
			covers[Fold(o)] = true
		}
		counts := schemeCounts(&f.Row)
		for _, g := range fields {
			if len(f.Row.Over) == 0 && g.Row.Means == MeansCheck || len(f.Row.Over) > 0 && !covers[Fold(g.Row.Field)] {
				continue
			}
			for _, c := range []byte(fieldCharacters(&g.Row)) {
				if !strings.ContainsRune(counts, rune(c)) {
					put(f.At, BadCombination, "scheme", string(f.Row.Scheme), fmt.Sprintf("the scheme cannot count %q, which the field %s can hold", c, g.Row.Field), "choose another scheme, give the character a value, or leave the field out of over")
					break
				}
			}
		}
		if len(f.Row.Weights) > 0 && (len(f.Row.Weights) < longest || !open && len(f.Row.Weights) != longest) {
			put(f.At, BadCombination, "weights", f.Row.Weights.String(), fmt.Sprintf("there are %d weights for %d characters", len(f.Row.Weights), longest), "write one weight for each character covered")
		}
	}
}

const (
	digitCharacters  = "0123456789"
	letterCharacters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
)

// fieldCharacters gives the characters that can stand in a field.
func fieldCharacters(f *Field) string {
	switch f.Kind {
	case FieldDigits:
		return digitCharacters
	case FieldLetters:
		return letterCharacters
	case FieldAlphanum:
		return digitCharacters + letterCharacters
	}
	return Fold(f.Chars)
}

// schemeCounts gives the characters that a check scheme can count: digits, and
// letters where the scheme has values for them.
func schemeCounts(f *Field) string {
	switch f.Scheme {
	case SchemeMod37_2, SchemeMod37_36, SchemeMod97_10:
		return digitCharacters + letterCharacters
	case SchemeMod11, SchemeMod11Comp:
		counts := digitCharacters
		for _, v := range f.Values {
			chars, _, _ := strings.Cut(v, "=")
			counts += Fold(chars)
		}
		return counts
	}
	return digitCharacters
}

// checkCircles reports supersessions and kit contents that lead back to where
// they started. Two-way rows make groups of equal numbers; a one-way or split
// row inside such a group, or a chain of them that comes back, is a circle.
func checkCircles(rows WholeReader, put func(at Place, code FindingCode, column, value, what, mend string)) {
	parent := map[string]string{}
	var root func(string) string
	root = func(k string) string {
		p, ok := parent[k]
		if !ok || p == k {
			return k
		}
		r := root(p)
		parent[k] = r
		return r
	}
	var one []Located[Supersession]
	splits := map[string][]Located[Supersession]{}
	kindsOf := map[string]map[SupersessionKind]bool{}
	for r, at := range rows(TSupersessions) {
		s := *r.(*Supersession)
		if kindsOf[s.Old.Key()] == nil {
			kindsOf[s.Old.Key()] = map[SupersessionKind]bool{}
		}
		kindsOf[s.Old.Key()][s.Kind] = true
		if s.Kind == TwoWay {
			if a, b := root(s.Old.Key()), root(s.New.Key()); a != b {
				parent[a] = b
			}
			continue
		}
		if s.Kind == Split {
			splits[s.Old.Key()] = append(splits[s.Old.Key()], Located[Supersession]{s, at})
		}
		one = append(one, Located[Supersession]{s, at})
	}
	for old, list := range splits {
		if len(list) == 1 && list[0].Row.Qty == 1 {
			put(list[0].At, BadCombination, "kind", string(list[0].Row.Old), "a split into a single piece is a one-way replacement", "make the kind one-way, or add the other rows of the split")
		}
		if kindsOf[old][OneWay] {
			put(list[0].At, BadCombination, "kind", string(list[0].Row.Old), "the number is both split and replaced one-way", "decide for one of them")
		}
	}
	edges := map[string][]string{}
	for _, s := range one {
		edges[root(s.Row.Old.Key())] = append(edges[root(s.Row.Old.Key())], root(s.Row.New.Key()))
	}
	on := circular(edges)
	for _, s := range one {
		a, b := root(s.Row.Old.Key()), root(s.Row.New.Key())
		if a == b || on[a] != 0 && on[a] == on[b] {
			put(s.At, Circle, "new", string(s.Row.New), "the replacements lead in a circle back to "+string(s.Row.Old), "take away the row that points backwards")
		}
	}

	holds := map[string][]string{}
	var contents []Located[Content]
	for r, at := range rows(TContents) {
		c := *r.(*Content)
		holds[c.Kit.Key()] = append(holds[c.Kit.Key()], c.Part.Key())
		contents = append(contents, Located[Content]{c, at})
	}
	on = circular(holds)
	for _, c := range contents {
		if a, b := on[c.Row.Kit.Key()], on[c.Row.Part.Key()]; a != 0 && a == b {
			put(c.At, Circle, "part", string(c.Row.Part), "the kits hold each other in a circle", "take away the row that points backwards")
		}
	}
}

// circular numbers the nodes that lie on a circle: nodes with the same number
// above zero can reach each other (Tarjan's strongly connected components,
// SIAM J. Comput. 1 (1972) 146, with a stack of its own instead of recursion).
func circular(edges map[string][]string) map[string]int {
	type frame struct {
		node string
		next int
	}
	index, low, on := map[string]int{}, map[string]int{}, map[string]bool{}
	out := map[string]int{}
	var stack []string
	counter, group := 0, 0
	nodes := make([]string, 0, len(edges))
	for n := range edges {
		nodes = append(nodes, n)
	}
	slices.Sort(nodes)
	for _, start := range nodes {
		if index[start] != 0 {
			continue
		}
		work := []frame{{start, 0}}
		for len(work) > 0 {
			f := &work[len(work)-1]
			if f.next == 0 {
				counter++
				index[f.node], low[f.node] = counter, counter
				stack = append(stack, f.node)
				on[f.node] = true
			}
			if f.next < len(edges[f.node]) {
				to := edges[f.node][f.next]
				f.next++
				if index[to] == 0 {
					work = append(work, frame{to, 0})
				} else if on[to] {
					low[f.node] = min(low[f.node], index[to])
				}
				continue
			}
			node := f.node
			work = work[:len(work)-1]
			if len(work) > 0 {
				p := work[len(work)-1].node
				low[p] = min(low[p], low[node])
			}
			if low[node] == index[node] {
				var members []string
				for {
					n := stack[len(stack)-1]
					stack = stack[:len(stack)-1]
					on[n] = false
					members = append(members, n)
					if n == node {
						break
					}
				}
				if len(members) > 1 {
					group++
					for _, m := range members {
						out[m] = group
					}
				}
			}
		}
	}
	return out
}

// DanglingReference is the finding for a reference to a row that is not there.
func DanglingReference(ref Reference, at Place) Finding {
	return Finding{Code: Dangling, Place: at, Value: ref.Text,
		What: "nothing in the table " + ref.Table + " goes by this name",
		Mend: "correct it, or add it to " + ref.Table}
}

// UnresolvedReference is the finding for a reference to a row that is not
// there, where the table can be asked: a code of digits that is there with
// zeros in front has lost them to a spreadsheet.
func UnresolvedReference(ref Reference, at Place, exists func(key string) bool) Finding {
	if s := ref.Text; s != "" && strings.Trim(s, "0123456789") == "" {
		for z := "0" + s; len(z) <= MaxCode && len(z) <= len(s)+12; z = "0" + z {
			if exists(MakeKey(z)) {
				return Finding{Code: LostLeadingZeros, Place: at, Value: s,
					What: "nothing in the table " + ref.Table + " goes by this name, but " + z + " does: the zeros in front are lost",
					Mend: "write " + z + ", in a column formatted as text"}
			}
		}
	}
	return DanglingReference(ref, at)
}

// Context holds the marks and roles of a catalogue, beside which the rows of its
// large tables are checked one by one.
type Context struct {
	marks map[string]Mark
	roles map[string]Role
}

// NewContext reads marks and roles.
func NewContext(rows WholeReader) *Context {
	c := &Context{marks: map[string]Mark{}, roles: map[string]Role{}}
	for r := range rows(TMarks) {
		m := *r.(*Mark)
		c.marks[Fold(m.Mark)] = m
	}
	for r := range rows(TRoles) {
		o := *r.(*Role)
		c.roles[Fold(o.Role)] = o
	}
	return c
}

// ContextOf gives the tables beside which rows of t are checked, none for a
// table of which [Context.Check] has nothing to say. They stand before t.
func ContextOf(t *Table) []string {
	switch t.Name {
	case TShows:
		return []string{TMarks}
	case TFits:
		return []string{TMarks, TRoles}
	}
	return nil
}

// Concerns gives a function that tells from the cells of a row, in the order of
// t's columns, whether [Context.Check] could report anything about it. Most rows
// of the large tables need no closer look. The function is not safe for
// concurrent use.
func (c *Context) Concerns(t *Table) func(cells []string) bool {
	index := func(name string) int {
		return slices.IndexFunc(t.Columns, func(c *Column) bool { return c.Name == name })
	}
	// Marks and roles repeat over many rows, so each spelling is looked up once.
	remember := func(look func(text string) bool) func(text string) bool {
		known := map[string]bool{}
		return func(text string) bool {
			is, ok := known[text]
			if !ok {
				is = look(text)
				known[strings.Clone(text)] = is
			}
			return is
		}
	}
	switch t.Name {
	case TShows:
		mark, tolerance := index("mark"), index("tolerance")
		measured := remember(func(text string) bool { return c.marks[Fold(text)].Kind == MarkMeasured })
		return func(cells []string) bool { return cells[tolerance] != "" || measured(cells[mark]) }
	case TFits:
		scope, role, when := index("scope"), index("role"), index("when")
		fluid := remember(func(text string) bool { return c.roles[Fold(text)].Kind == RoleFluid })
		return func(cells []string) bool {
			return cells[when] != "" || cells[scope] == string(FitMark) || fluid(cells[role])
		}
	}
	return func([]string) bool { return false }
}

// Check reports where a shows row or a fit statement uses a mark or a role
// against its kind. What the row refers to and is not there is not its business.
func (c *Context) Check(r Row, at Place, report func(Finding)) {
	put := func(code FindingCode, column, value, what, mend string) {
		at := at
		at.Column = column
		report(Finding{Code: code, Place: at, Value: value, What: what, Mend: mend})
	}
	switch r := r.(type) {
	case *Show:
		m, ok := c.marks[Fold(r.Mark)]
		switch {
		case !ok:
		case m.Kind == MarkMeasured:
			if _, err := ParseDecimal(r.Value); err != nil {
				put(BadCell, "value", r.Value, "the mark "+m.Mark+" is measured, and this is no number", "write the nominal in "+m.Unit)
			}
		case r.Tolerance.Known:
			put(BadCombination, "tolerance", r.Tolerance.String(), "the mark "+m.Mark+" is not measured", "leave the tolerance empty")
		}
	case *Fit:
		if o, ok := c.roles[Fold(r.Role)]; ok && o.Kind == RoleFluid && r.Effect == Fits {
			put(BadCombination, "role", r.Role, "fluids are stated by specification, not by number", "add a row to "+TFills+", and the fluid to "+TMeets)
		}
		condition := func(column, mark, text string) {
			m, ok := c.marks[Fold(mark)]
			switch {
			case !ok && column == "when":
				put(Dangling, column, text, "nothing in the table "+TMarks+" goes by the name "+mark, "correct it, or add it to "+TMarks)
			case !ok:
			case m.Kind == MarkMeasured:
				put(BadCombination, column, text, "the mark "+m.Mark+" is measured: a measured value has no exact condition", "condition the statement on a seen or counted mark, or on the variants")
			case m.Force == Hinting:
				put(BadCombination, column, text, "the mark "+m.Mark+" only hints and cannot decide what fits", "condition the statement on a deciding mark, or on the variants")
			}
		}
		if r.Scope == FitMark {
			mark, _, _ := strings.Cut(r.Of, "=")
			condition("of", mark, r.Of)
		}
		for _, w := range r.When {
			condition("when", w.Mark, w.String())
		}
	}
}
