package audit_test

import (
	"bytes"
	_ "embed"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/require"

	"platewright/catalog"
	"platewright/catalog/audit"
	"platewright/catalog/memory"
	"platewright/catalog/pack"
	"platewright/resolve/plate"
	"platewright/seed"
)

//go:embed judge.sql
var rules string

// unjudged are the kinds that the judge leaves out. Of SameReading it judges what
// a text means, not in how many ways a plate can be read.
var unjudged = []audit.Kind{audit.VariantOffLayout, audit.PlateOffLayout, audit.SupersessionCircle, audit.SpecsNearlyNamed, audit.LooksLike, audit.SameName}

// judge runs the rules in the sqlite3 shell, a general program that knows nothing
// of this one.
func judge(t testing.TB, c *memory.Catalogue) []string {
	t.Helper()
	if _, err := exec.LookPath("sqlite3"); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("the judge needs the sqlite3 shell, and it is not installed")
		}
		t.Skip("the judge needs the sqlite3 shell (Debian package sqlite3), and it is not installed")
	}
	var in bytes.Buffer
	in.WriteString("BEGIN;\n")
	var cites []string
	for _, table := range catalog.Tables() {
		var names []string
		for _, col := range table.Columns {
			names = append(names, `"`+col.Name+`"`)
			if col.Name == "source" && table.Name != catalog.TSources {
				cites = append(cites, "SELECT source FROM "+table.Name)
			}
		}
		fmt.Fprintf(&in, "CREATE TABLE %s(%s);\n", table.Name, strings.Join(names, ", "))
		n := 0
		if table.Name == catalog.TFits {
			in.WriteString("CREATE TABLE fit_asks(f INT, mark TEXT, value TEXT);\n")
		}
		for r := range c.Rows(table.Name) {
			n++
			var cells []string
			for _, col := range table.Columns {
				cells = append(cells, cell(col, col.Get(r)))
			}
			fmt.Fprintf(&in, "INSERT INTO %s VALUES(%s);\n", table.Name, strings.Join(cells, ", "))
			if f, ok := r.(*catalog.Fit); ok {
				for _, a := range asks(f) {
					mark, value, _ := strings.Cut(a, "=")
					fmt.Fprintf(&in, "INSERT INTO fit_asks VALUES(%d, %s, %s);\n", n, quote(mark), quote(value))
				}
			}
		}
	}
	in.WriteString("CREATE TABLE confusable(a TEXT, b TEXT);\n")
	for _, p := range plate.Confusables() {
		fmt.Fprintf(&in, "INSERT INTO confusable VALUES(%[1]s, %[2]s), (%[2]s, %[1]s);\n", quote(string(p.A)), quote(string(p.B)))
	}
	fmt.Fprintf(&in, "CREATE VIEW cites AS %s;\n", strings.Join(cites, " UNION "))
	_, text, ok := strings.Cut(rules, "-- :load\n")
	require.True(t, ok, "judge.sql has no line -- :load")
	before, rest, ok := strings.Cut(text, "-- :repeat ")
	require.True(t, ok, "judge.sql has no line -- :repeat")
	times, rest, _ := strings.Cut(rest, "\n")
	n, err := strconv.Atoi(times)
	require.NoError(t, err)
	body, rest, ok := strings.Cut(rest, "-- :end\n")
	require.True(t, ok, "judge.sql has no line -- :end")
	in.WriteString(before + strings.Repeat(body, n) + rest + "COMMIT;\n")
	if name := os.Getenv("JUDGE_SQL"); name != "" { // to look at one run by hand
		require.NoError(t, os.WriteFile(name, in.Bytes(), 0o600))
	}
	cmd := exec.Command("sqlite3", "-batch", "-bail", ":memory:")
	cmd.Stdin = &in
	var out, trouble bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &trouble
	if err := cmd.Run(); err != nil || trouble.Len() > 0 {
		t.Fatalf("sqlite3: %v\n%s", err, trouble.String())
	}
	lines := strings.Split(strings.TrimSuffix(out.String(), "\n"), "\n")
	if out.Len() == 0 {
		lines = nil
	}
	slices.Sort(lines)
	return slices.Compact(lines)
}

func quote(s string) string { return "'" + strings.ReplaceAll(s, "'", "''") + "'" }

// cell gives a cell as the judge sees it.
func cell(col *catalog.Column, text string) string {
	switch col.Kind {
	case catalog.KindCount, catalog.KindSerial, catalog.KindDecimal:
		if text == "" {
			return "NULL"
		}
		return text
	case catalog.KindDate:
		if text == "" {
			return "NULL"
		}
		d, err := catalog.ParseDate(text)
		if err != nil {
			return "NULL"
		}
		if strings.HasSuffix(col.Name, "_to") {
			return strconv.Itoa(int(d.Last()))
		}
		return strconv.Itoa(int(d.First()))
	case catalog.KindWord:
		return quote(text)
	case catalog.KindWords:
		var out []string
		for _, w := range strings.Fields(text) {
			out = append(out, catalog.Fold(w))
		}
		return quote(strings.Join(out, " "))
	}
	if col.Name == "plate" {
		return quote(catalog.Fold(text))
	}
	return quote(catalog.KeyPart(col.Kind, text))
}

// asks gives the conditions of a statement, folded and in order.
func asks(f *catalog.Fit) []string {
	var out []string
	if f.Scope == catalog.FitMark {
		out = append(out, catalog.KeyPart(catalog.KindTarget, f.Of))
	}
	for _, c := range f.When {
		out = append(out, c.Key())
	}
	slices.Sort(out)
	return out
}

// facts writes a finding as the judge does, in one line or several.
func facts(f audit.Finding, fits map[string]*catalog.Fit) []string {
	x := f.Facts
	head := string(f.Kind) + "|" + string(f.Severity)
	one := func(fields ...string) []string { return []string{strings.Join(append([]string{head}, fields...), "|")} }
	part := func() string { return x.Parts[0].Key() }
	codes := func() string {
		var out []string
		for _, v := range x.Variants {
			out = append(out, v.Key())
		}
		slices.Sort(out)
		return strings.Join(out, " ")
	}
	statement := func(i int) string {
		p := strings.SplitN(f.Rows[i].Key, " / ", 3)
		return p[0] + "/" + catalog.KeyPart(catalog.KindTarget, p[1]) + "/" + catalog.Fold(p[2])
	}
	pair := func() (string, string) {
		a, b := statement(0), statement(1)
		return min(a, b), max(a, b)
	}
	fold := catalog.Fold
	switch f.Kind {
	case audit.Contradiction, audit.QuantityDiffers, audit.EqualRank, audit.DuplicateStatement:
		a, b := pair()
		return one(a, b)
	case audit.BreakOverlap:
		a, b := pair()
		return one(a, b, string(x.Range))
	case audit.BreakGap:
		if x.Range != audit.OfSerial {
			return nil
		}
		s := fits[statement(0)]
		var out []string
		from, _ := strconv.Atoi(x.From)
		to, _ := strconv.Atoi(x.To)
		for n := max(from, 1); n <= min(to, 100); n++ {
			out = append(out, strings.Join([]string{"gap", string(s.Scope) + "/" + catalog.KeyPart(catalog.KindTarget, s.Of), fold(s.Role), catalog.FoldValue(s.Position), strings.Join(asks(s), ";"), strconv.Itoa(n)}, "|"))
		}
		return out
	case audit.NeverApplies:
		return one(statement(0))
	case audit.RoleRuledOut:
		return one(codes(), fold(x.Role), catalog.FoldValue(x.Position))
	case audit.RoleUnstated:
		return one(fold(x.Family), fold(x.Role), strconv.Itoa(x.Count), strconv.Itoa(x.Of))
	case audit.KitWithoutContents, audit.EndedWithoutSuccessor, audit.EndedChain, audit.PartUnnamed, audit.FluidMeetsNothing:
		return one(part())
	case audit.KitLacksSister, audit.KitLacksScope:
		return one(fold(x.Family), fold(x.Role), part(), fold(x.Roles[0]))
	case audit.FiguresMissing:
		return one(fold(x.Family), x.Table, strconv.Itoa(x.Count), strconv.Itoa(x.Of))
	case audit.SameReading:
		if x.Text == "" {
			return nil
		}
		return one(fold(x.Layout), fold(x.Text), strconv.Itoa(x.Count))
	case audit.LookAlike:
		return one(strings.Split(codes(), " ")...)
	case audit.NothingToLookAt:
		return one(codes())
	case audit.TwoWaySuccessors:
		var out []string
		for _, p := range x.Parts {
			out = append(out, p.Key())
		}
		slices.Sort(out)
		return one(strings.Join(out, " "))
	case audit.MarkUnshown:
		return one(fold(x.Mark))
	case audit.ValueUnshown:
		return one(fold(x.Mark), catalog.FoldValue(x.Values[0]))
	case audit.OfferOfUnknownPart, audit.OfferOfEndedPart:
		return one(fold(x.Supplier), fold(x.Stocks[0]))
	case audit.OfferTwice:
		var out []string
		for _, s := range x.Stocks {
			out = append(out, fold(s))
		}
		slices.Sort(out)
		return one(fold(x.Supplier), part(), strings.Join(out, " "))
	case audit.BreakWithoutOffer, audit.BreakDearer:
		return one(fold(x.Supplier), fold(x.Stocks[0]), strconv.Itoa(x.Qty[0]))
	case audit.SheetOffLimits:
		return one(fold(x.Specs[0]), part(), string(x.Property))
	case audit.FaultWithoutSite:
		return one(fold(x.Family), fold(x.Code), fold(x.Site))
	case audit.ServesWithoutFluid:
		return one(fold(x.Specs[0]), fold(x.Specs[1]))
	case audit.FillWithoutFluid:
		return one(fold(x.Specs[0]))
	case audit.LayoutOfOtherMaker:
		return one(codes())
	case audit.CautionUnused, audit.SourceUnused:
		return one(fold(x.Names[0]))
	}
	return nil
}

// compare holds the findings against the judge's, both ways, and gives how many
// of each kind there were.
func compare(t *testing.T, c *memory.Catalogue) map[audit.Kind]int {
	t.Helper()
	fits := map[string]*catalog.Fit{}
	for r := range c.Rows(catalog.TFits) {
		f := r.(*catalog.Fit)
		fits[string(f.Scope)+"/"+catalog.KeyPart(catalog.KindTarget, f.Of)+"/"+catalog.Fold(f.Statement)] = f
	}
	ids, met := map[string]bool{}, map[audit.Kind]int{}
	var got []string
	for _, f := range found(t, c) {
		if ids[f.ID] {
			t.Errorf("two findings have the identifier %s", f.ID)
		}
		ids[f.ID] = true
		lines := facts(f, fits)
		if len(lines) > 0 {
			met[f.Kind]++
		}
		got = append(got, lines...)
	}
	slices.Sort(got)
	if d := cmp.Diff(judge(t, c), slices.Compact(got)); d != "" {
		t.Errorf("the judge and the findings differ (-judge +findings):\n%s", d)
	}
	return met
}

func demo(t testing.TB) *memory.Catalogue {
	t.Helper()
	p, err := pack.OpenFS(seed.FS, "demo", pack.Limits{})
	require.NoError(t, err)
	defer p.Close()
	c, findings, err := pack.ReadMemory(p)
	require.NoError(t, err)
	require.NoError(t, findings.Err())
	return c
}

func TestJudgeOnTheDemo(t *testing.T) { compare(t, demo(t)) }

// Hundreds of small random catalogues, in which everything that can go wrong does.
func TestJudgeOnRandomCatalogues(t *testing.T) {
	met := map[audit.Kind]int{}
	for i := range 100 {
		t.Run(strconv.Itoa(i), func(t *testing.T) {
			c := memory.New()
			random(c, rand.New(rand.NewPCG(7, uint64(i))), "")
			c.Seal()
			for k, n := range compare(t, c) {
				met[k] += n
			}
		})
		if t.Failed() {
			return
		}
	}
	for _, k := range audit.Kinds {
		if met[k] == 0 && !slices.Contains(unjudged, k) {
			t.Errorf("no random catalogue has a finding of the kind %s", k)
		}
	}
}

// random fills a catalogue with rows made up of few names, each with the prefix,
// so that they meet. Nothing is checked: what an import refuses can be among it.
func random(c *memory.Catalogue, r *rand.Rand, prefix string) {
	line := 1
	put := func(table string, cells ...string) {
		tab := catalog.TableByName(table)
		row := tab.New()
		for _, cell := range cells {
			name, text, _ := strings.Cut(cell, "=")
			if err := tab.Column(name).Set(row, text); err != nil {
				panic(fmt.Sprintf("%s %s: %v", table, cell, err)) // a slip of this test
			}
		}
		line++
		c.Add(tab, row, catalog.Place{File: table + ".csv", Table: table, Row: line})
	}
	chance := func(percent int) bool { return r.IntN(100) < percent }
	of := func(list ...string) string { return list[r.IntN(len(list))] }
	name := func(s string) string { return prefix + s }
	some := func(list ...string) string { return name(of(list...)) }
	source := func() string { return "source=" + name([]string{"S1", "S2", "S3", "S4"}[min(r.IntN(40)/12, 3)]) }
	for _, s := range []string{"S1", "S2", "S3", "S4"} {
		put(catalog.TSources, "source="+name(s), "title=list "+name(s), "kind=invented")
	}
	for _, s := range []string{"hot", "static"} {
		put(catalog.TCautions, "caution="+name(s), "text=careful", source())
		if chance(40) {
			put(catalog.TCautionLinks, "on=family", "of="+some("F", "G"), "caution="+name(s))
		}
	}
	put(catalog.TMakers, "maker="+name("one"), "name=one"+prefix)
	put(catalog.TMakers, "maker="+name("two"), "name=two"+prefix)
	families := []string{"F", "G", "H"}
	for _, f := range families {
		put(catalog.TFamilies, "family="+name(f), "maker="+some("one", "one", "two"), "name=family "+prefix+f, source())
	}
	put(catalog.TAssemblies, "assembly="+name("case"), "name=case"+prefix)
	put(catalog.TAssemblies, "assembly="+name("body"), "name=body"+prefix, "follows="+name("case"))
	put(catalog.TLayouts, "layout="+name("plate"), "maker="+name("one"), "assembly="+name("case"), source())
	put(catalog.TLayouts, "layout="+name("label"), "maker="+name("one"), "assembly="+name("body"), source())
	field := func(layout, place, field, min, max, means string, more ...string) {
		put(catalog.TFields, append([]string{"layout=" + name(layout), "place=" + place, "field=" + field, "kind=alphanum", "min=" + min, "max=" + max, "means=" + means}, more...)...)
	}
	field("plate", "1", "type", "2", "6", "variant")
	if chance(40) {
		put(catalog.TFields, "layout="+name("plate"), "place=2", "field=number", "kind=digits", "min=3", "max=3", "means=serial", "optional="+of("", "yes"))
	}
	if chance(40) {
		field("plate", "3", "check", "1", "1", "check", "scheme=mod-37-36", "over="+of("", "type", "number"))
	}
	field("label", "1", "text", "1", "4", "variant")
	spans := func(percent int) []string {
		var out []string
		if chance(percent) {
			a, b := 1+r.IntN(40), 1+r.IntN(40)
			if chance(70) {
				out = append(out, fmt.Sprintf("serial_from=%d", min(a, b)))
			}
			if chance(70) {
				out = append(out, fmt.Sprintf("serial_to=%d", max(a, b)))
			}
		}
		if chance(percent / 2) {
			if chance(60) {
				out = append(out, "built_from="+of("2018", "2018-06", "2018-07-01"))
			}
			if chance(60) {
				out = append(out, "built_to="+of("2018", "2018-06", "2018-07-01", "2019-02"))
			}
		}
		return out
	}
	var variants []string
	for range 4 + r.IntN(5) {
		v := of("K10", "K70", "K1O", "K01", "KK10", "M25", "M52", "M2", "V8", "VB", "X33")
		if !slices.Contains(variants, v) {
			variants = append(variants, v)
			put(catalog.TVariants, append(spans(25), "variant="+name(v), "family="+some("F", "F", "G", "H"), "layout="+some("plate", "plate", "plate", "label"), source())...)
		}
	}
	variant := func() string { return name(of(variants...)) }
	for range r.IntN(5) {
		put(catalog.TPlates, "layout="+some("plate", "label"), "plate="+prefix+of("QK", "QL", "K10", "M25"), "variant="+variant(), source())
	}
	mark := func(m, assembly, kind, force string, more ...string) {
		put(catalog.TMarks, append([]string{"mark=" + name(m), "assembly=" + name(assembly), "name=" + prefix + m, "kind=" + kind, "force=" + force, "effort=3", "how=look", source()}, more...)...)
	}
	mark("plug", "case", "seen", "deciding")
	mark("teeth", "body", "counted", "deciding")
	mark("coil", "body", "measured", "deciding", "unit=ohm", "tolerance="+of("", "0.2"), "wears="+of("", "shorter"))
	mark("cap", "body", "seen", "hinting", "caution="+of("", name("hot")))
	value := func(m string) string {
		switch m {
		case "teeth":
			return of("19", "21")
		case "coil":
			return of("5", "5.5", "6", "10")
		case "cap":
			return of("grey", "green")
		}
		return of("oval", "round", "square")
	}
	for range r.IntN(10) {
		m := of("plug", "teeth", "coil", "cap", "plug", "coil")
		more := []string{}
		if m == "coil" {
			more = append(more, "tolerance="+of("0.1", "0.3", ""))
		}
		scope, target := "family", some("F", "G", "H")
		if chance(60) {
			scope, target = "variant", variant()
		}
		put(catalog.TShows, append(more, "scope="+scope, "of="+target, "mark="+name(m), "value="+value(m), source())...)
	}
	roles := []string{"kit", "ring", "drain", "seal", "oil"}
	for i, o := range roles {
		put(catalog.TRoles, "role="+name(o), "name="+prefix+o, "assembly="+some("case", "body"), "kind="+[]string{"part", "fluid"}[i/4], "one_time="+of("yes", "yes", ""))
	}
	for range r.IntN(7) {
		put(catalog.TWorkRoles, "work="+some("W1", "W2"), "role="+some(roles...), "need="+of("required", "recommended"), "why=worn", source())
	}
	put(catalog.TWork, "work="+name("W1"), "name="+name("first"))
	put(catalog.TWork, "work="+name("W2"), "name="+name("second"))
	parts := []string{"P1", "P2", "P3", "P4", "P5", "P6", "P7", "P8"}
	for i, p := range parts {
		kind := "single"
		switch {
		case i < 3:
			kind = of("kit", "kit", "set", "single")
		case i == 7:
			kind = "fluid"
		}
		put(catalog.TParts, "part="+name(p), "name=thing", "kind="+kind, "origin=unit-maker", "status="+of("sold", "sold", "ended"), source())
	}
	put(catalog.TParts, "part="+name("L1"), "name=oil", "kind=fluid", "origin=unit-maker", "status="+of("sold", "ended"))
	for range r.IntN(7) {
		put(catalog.TContents, "kit="+some("P1", "P2", "P3"), "part="+some(parts[3:7]...), "qty=1", source())
	}
	for range r.IntN(6) {
		put(catalog.TSupersessions, "old="+some(parts...), "new="+some(parts...), "kind="+of("one-way", "one-way", "two-way", "split"), "qty=1", source())
	}
	for range r.IntN(2) {
		put(catalog.TCompanions, "part="+some(parts...), "companion="+some(parts...), "qty=1", "per=job", "why=worn")
		put(catalog.TConsumables, "work="+some("W1", "W2"), "part="+some("P8", "L1", "P6"), "qty=1", "why=clean")
	}
	for i := range 4 + r.IntN(10) {
		cells := append(spans(30), "statement="+strconv.Itoa(i), "role="+some(roles[:4]...), source())
		switch r.IntN(5) {
		case 0, 1:
			cells = append(cells, "scope=family", "of="+some("F", "G", "H"))
		case 2:
			m := of("plug", "teeth")
			cells = append(cells, "scope=mark", "of="+name(m)+"="+value(m))
		default:
			cells = append(cells, "scope=variant", "of="+variant())
		}
		if chance(25) {
			m := of("plug", "teeth")
			if !slices.ContainsFunc(cells, func(s string) bool { return strings.HasPrefix(s, "of="+name(m)+"=") }) {
				cells = append(cells, "when="+name(m)+"="+value(m))
			}
		}
		p := some(parts[:6]...)
		if chance(25) { // two kits of one role, and a break of it
			cells = append(slices.DeleteFunc(cells, func(s string) bool {
				return strings.HasPrefix(s, "scope=") || strings.HasPrefix(s, "of=") || strings.HasPrefix(s, "when=")
			}),
				"scope=family", "of="+name("F"), "role="+name("kit"))
			p = some("P1", "P2", "P3")
		}
		if chance(25) {
			if chance(30) {
				p = ""
			}
			cells = append(cells, "effect=does-not-fit", "part="+p)
		} else {
			cells = append(cells, "effect=fits", "part="+p, "qty="+of("1", "1", "1", "2"), "position="+of("", "", "left"), "rank="+of("", "1", "2"))
		}
		put(catalog.TFits, cells...)
	}
	if n := 10 + r.IntN(20); chance(50) { // a break, drawn well or not
		at := []string{"scope=family", "of=" + name("F")}
		if chance(50) {
			at = []string{"scope=variant", "of=" + variant()}
		}
		when := of("", "", name("plug")+"=oval")
		put(catalog.TFits, append(at, "statement=b1", "role="+name("seal"), "effect=fits", "qty=1", "part="+some("P4", "P5"), fmt.Sprintf("serial_to=%d", n), "when="+when)...)
		put(catalog.TFits, append(at, "statement=b2", "role="+name("seal"), "effect=fits", "qty=1", "part="+some("P4", "P5"), fmt.Sprintf("serial_from=%d", n+r.IntN(4)), "when="+when)...)
		if chance(30) {
			put(catalog.TFits, append(at, "statement=b3", "role="+name("seal"), "effect=fits", "qty=1", "rank=3", "part="+some("P4", "P6"), "when="+of("", name("plug")+"=oval"))...)
		}
	}
	specs := []string{"A1", "B4", "C9"}
	for _, s := range specs {
		put(catalog.TSpecs, "spec="+name(s), "name=spec "+name(s))
	}
	for range r.IntN(3) {
		put(catalog.TServes, "spec="+some(specs...), "served_by="+some(specs...))
		put(catalog.TMeets, "spec="+some(specs...), "fluid="+some("P8", "L1"), "claim=approved")
	}
	for range r.IntN(4) {
		scope, target := "family", some("F", "G", "H")
		if chance(50) {
			scope, target = "variant", variant()
		}
		put(of(catalog.TFills, catalog.TFills), "scope="+scope, "of="+target, "role="+name("oil"), "spec="+some(specs...), source())
		put(catalog.TTorques, "scope="+scope, "of="+target, "fastener=bolt", "torque=10")
	}
	for range r.IntN(4) {
		put(catalog.TSheets, "fluid="+some("P8", "L1"), "property="+of("viscosity-40", "pour-point"), "value="+of("-40", "5.5", "30"))
		put(catalog.TLimits, "spec="+some(specs...), "property="+of("viscosity-40", "pour-point"), "least="+of("", "5.5", "-40.5"), "most="+of("", "29.9", "5.5"))
		scope, target := "family", some("F", "G")
		if chance(50) {
			scope, target = "variant", variant()
		}
		put(catalog.TSites, "scope="+scope, "of="+target, "site="+of("L1", "P1"), "role="+name("seal"), "ohm=5", "tolerance=1", "temp=20")
		put(catalog.TFaults, "family="+some("F", "G"), "code="+of("P0750", "P0755"), "site="+of("L1", "P1"), "text=open")
	}
	for _, s := range []string{"SA", "SB"} {
		for range r.IntN(3) {
			put(catalog.TBreaks, "supplier="+name(s), "stock="+of("0", "1", "7"), "from="+of("5", "9"), "price="+of("3", "4", "4.5"))
		}
		put(catalog.TSuppliers, "supplier="+name(s), "name="+name(s), "currency=EUR")
		for i := range r.IntN(5) {
			put(catalog.TOffers, "supplier="+name(s), "stock="+strconv.Itoa(i), "part="+some(append(parts[:5:5], "P99")...), "price="+of("4", "4.0", "4.5"), "pack="+of("1", "1", "10"))
		}
	}
}
