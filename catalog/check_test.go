package catalog_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"platewright/catalog"
	"platewright/catalog/catalogtest"
)

// good holds a row of each table that obeys all rules of a row.
var good = map[string]string{
	"sources":       "source=demo; title=Demo; kind=invented",
	"cautions":      "caution=hot; text=Hot fluid scalds.; defer=The maker's instructions; source=demo",
	"makers":        "maker=drosk; name=Drosk; source=demo",
	"families":      "family=F; maker=drosk; name=F; source=demo",
	"assemblies":    "assembly=body; name=valve body; follows=case; source=demo",
	"layouts":       "layout=plate; maker=drosk; assembly=case; name=plate; example=AA; source=demo",
	"fields":        "layout=plate; place=1; field=type; kind=letters; min=2; max=2; means=variant",
	"variants":      "variant=AA; family=F; layout=plate; serial_from=10; serial_to=20; built_from=2018; built_to=2018-06; source=demo",
	"plates":        "layout=label; plate=11; variant=AA; source=demo",
	"marks":         "mark=coil; assembly=body; name=coil; kind=measured; force=deciding; unit=Ω; tolerance=0.1; effort=6; how=measure; source=demo",
	"shows":         "scope=variant; of=AA; mark=coil; value=5; tolerance=0.2; source=demo",
	"roles":         "role=gasket; name=gasket; assembly=case; kind=part",
	"parts":         "part=P; name=gasket; kind=single; origin=unit-maker; status=sold; source=demo",
	"numbers":       "number=77-P; part=P; source=demo",
	"contents":      "kit=K; part=P; qty=2; source=demo",
	"fits":          "scope=variant; of=AA; statement=1; role=gasket; effect=fits; part=P; qty=1; serial_to=99; source=demo",
	"supersessions": "old=P; new=Q; kind=one-way; qty=2; source=demo",
	"companions":    "part=P; companion=Q; qty=1; per=job; why=worn; source=demo",
	"specs":         "spec=M; name=M; source=demo",
	"serves":        "spec=M; served_by=N; source=demo",
	"meets":         "spec=M; fluid=F1; claim=approved; source=demo",
	"fills":         "scope=family; of=F; role=fluid; spec=M; refill=4.5; dry=4.5; temp_from=30; temp_to=50; source=demo",
	"work":          "work=reseal; name=reseal; fill=refill; source=demo",
	"work_roles":    "work=reseal; role=gasket; need=required; why=worn; source=demo",
	"suppliers":     "supplier=lorrq; name=Lorrq; currency=EUR; freight=0; free_freight=120; minimum=25; days=1; cutoff=15:30; source=demo",
	"offers":        "supplier=lorrq; stock=7; part=P; price=0; pack=1; litres=1; source=demo",
	"shelf":         "part=P; place=box 1",
	"torques":       "scope=family; of=F; fastener=bolt; torque=8; tolerance=0; source=demo",
	"sites":         "scope=family; of=F; site=P1; role=gasket; ohm=5; tolerance=0; temp=20; source=demo",
	"seals":         "scope=family; of=F; seal=tube-a; role=gasket; place=feed bore A; length=31.5; tolerance=0.2; least=31; fitted=31; qty=1; source=demo",
	"rings":         "scope=family; of=F; ring=ring-a; role=gasket; place=filter neck; inside=20.22; section=3.53; qty=1; source=demo",
	"faults":        "family=F; code=P0A1B; site=P1; text=pressure control; source=demo",
	"ports":         "scope=family; of=F; port=A; medium=vacuum; pressure=60; volume=40; leak=0; expect=holds; source=demo",
	"sheets":        "fluid=P; property=viscosity-40; value=32; source=demo",
	"limits":        "spec=M; property=viscosity-100; least=5.4; most=5.4; source=demo",
	"steps":         "work=reseal; when=after; place=1; text=Read the codes.; source=demo",
	"consumables":   "work=reseal; part=P; qty=1; why=cleaning; source=demo",
	"breaks":        "supplier=lorrq; stock=7; from=2; price=9.5; source=demo",
	"synonyms":      "word=solenoid; means=actuator; source=demo",
	"caution_links": "on=work; of=reseal; caution=hot",
	"notes":         "on=part; of=P; note=1; kind=remark; text=Dyes fade.; state=open; author=bench; dated=2024-01-15",
}

// rowOf reads "column=text; column=text"; later ones replace earlier ones.
func rowOf(t *testing.T, table string, cells ...string) (*catalog.Table, catalog.Row) {
	t.Helper()
	tb := catalog.TableByName(table)
	row := tb.New()
	for _, list := range cells {
		for cell := range strings.SplitSeq(list, "; ") {
			if cell == "" {
				continue
			}
			name, text, _ := strings.Cut(cell, "=")
			c := tb.Column(name)
			if c == nil {
				t.Fatalf("%s has no column %q", table, name)
			}
			if err := c.Set(row, text); err != nil {
				t.Fatalf("%s.%s: %v", table, name, err)
			}
		}
	}
	return tb, row
}

func checkRow(t *testing.T, table string, cells ...string) []string {
	t.Helper()
	tb, row := rowOf(t, table, cells...)
	var got []string
	at := catalog.Place{File: table + ".csv", Table: table, Row: 7}
	catalog.CheckRow(tb, row, at, func(f catalog.Finding) {
		if f.File != at.File || f.Row != at.Row || f.What == "" || f.Mend == "" || f.Severity == catalog.Remark {
			t.Errorf("%s: the finding %+v says not where, what or how to mend", table, f)
		}
		if c := tb.Column(f.Column); c == nil {
			t.Errorf("%s: the finding %+v names no column", table, f)
		}
		got = append(got, f.Column+" "+string(f.Code))
	})
	slices.Sort(got)
	return got
}

// TestGoodRows holds that the good rows are good, and that each required cell of
// each table is missed.
func TestGoodRows(t *testing.T) {
	for _, tb := range catalog.Tables() {
		cells, ok := good[tb.Name]
		if !ok {
			t.Errorf("there is no good row of %s", tb.Name)
			continue
		}
		if got := checkRow(t, tb.Name, cells); len(got) > 0 {
			t.Errorf("%s: the good row has findings %q", tb.Name, got)
		}
		for _, c := range tb.Columns {
			if !c.Required {
				continue
			}
			if got := checkRow(t, tb.Name, cells, c.Name+"="); !slices.Contains(got, c.Name+" missing") {
				t.Errorf("%s: that %s is empty is not found, only %q", tb.Name, c.Name, got)
			}
		}
	}
}

// TestRowRules holds every rule of a single row by the least change of a good row
// that breaks it, and by one beside it that does not.
func TestRowRules(t *testing.T) {
	const check = "kind=digits; min=1; max=1; means=check; scheme=luhn; over=type"
	const weighted = "kind=digits; min=1; max=1; means=check; scheme=mod-11-rest; over=type; weights=2 3"
	for _, c := range []struct{ table, cells, want string }{
		{"assemblies", "follows=Bo-dy", "follows combination"},
		{"assemblies", "follows=", ""},

		{"variants", "serial_from=21", "serial_to range"},
		{"variants", "serial_from=20", ""},
		{"variants", "built_from=2018-07", "built_to range"},
		{"variants", "built_from=2018-06-30", ""}, // a month holds its days
		{"variants", "built_to=; built_from=2030", ""},

		{"fields", "min=3", "max range"},
		{"fields", "kind=literal; chars=XY; min=; max=", ""},
		{"fields", "kind=literal; min=; max=", "chars missing"},
		{"fields", "kind=set; chars=ABC", ""},
		{"fields", "kind=set; chars=ÄB", "chars code"},
		{"fields", "chars=ABC", "chars combination"},
		{"fields", "min=; max=", "min missing"},
		{"fields", "max=41", "max number"},
		{"fields", "max=40", ""},
		{"fields", "means=built", "form combination"},
		{"fields", "form=YYWW", "form combination, form combination"},
		{"fields", "kind=digits; means=built; form=YYWW; min=4; max=4", ""},
		{"fields", "kind=digits; means=built; form=YYWW; min=4; max=5", "form combination"},
		{"fields", "kind=digits; means=built; form=DDMM; min=4; max=4", "form cell"},
		{"fields", "means=serial", "kind combination"},
		{"fields", "kind=digits; means=serial; max=18", ""},
		{"fields", "kind=digits; means=serial; max=19", "kind combination"},
		{"fields", check, ""},
		{"fields", check + "; scheme=", "over combination, scheme combination"},
		{"fields", check + "; means=nothing", "scheme combination"},
		{"fields", check + "; kind=literal; chars=4; min=1; max=1", "kind combination"},
		{"fields", check + "; max=2", "max combination"},
		{"fields", check + "; scheme=mod-97-10; min=2; max=2", ""},
		{"fields", check + "; scheme=mod-97-10", "max combination"},
		{"fields", check + "; weights=2 3", "weights combination"},
		{"fields", weighted, ""},
		{"fields", weighted + "; weights=", "weights combination"},
		{"fields", weighted + "; weights=2 -3", "weights cell"},
		{"fields", weighted + "; weights=2 1001", "weights cell"},
		{"fields", weighted + "; values=AJ=1 BKS=2", ""},
		{"fields", weighted + "; values=AJ", "values cell"},
		{"fields", weighted + "; values=AJ=x", "values cell"},
		{"fields", check + "; values=AJ=1", "values cell"},

		{"marks", "unit=", "unit missing"},
		{"marks", "kind=seen", "unit combination"},
		{"marks", "kind=seen; unit=; tolerance=; wears=shorter", "wears combination"},
		{"marks", "kind=seen; unit=; tolerance=; site=P1", "site combination"},
		{"marks", "wears=shorter; site=P1", "wears combination"},
		{"marks", "wears=shorter", ""},
		{"marks", "site=P1", ""},
		{"marks", "kind=seen; unit=; tolerance=", ""},
		{"marks", "tolerance=-0.1", "tolerance number"},
		{"marks", "effort=-1", "effort number"},
		{"marks", "effort=0", ""},

		{"shows", "tolerance=-0.1", "tolerance number"},
		{"shows", "tolerance=0", ""},
		{"contents", "part=k", "part circle"},

		{"fits", "serial_from=100", "serial_to range"},
		{"fits", "serial_from=99", ""},
		{"fits", "built_from=2019; built_to=2018", "built_to range"},
		{"fits", "built_from=2018; built_to=2018", ""},
		{"fits", "part=", "part missing"},
		{"fits", "qty=", "qty missing"},
		{"fits", "effect=does-not-fit; qty=", ""},
		{"fits", "effect=does-not-fit; qty=; part=", ""},
		{"fits", "effect=does-not-fit", "qty combination"},
		{"fits", "effect=does-not-fit; qty=; rank=1", "qty combination"},
		{"fits", "effect=does-not-fit; qty=; position=left", "qty combination"},
		{"fits", "scope=mark", "of combination"},
		{"fits", "scope=mark; of=pan=deep", ""},
		{"fits", "of=pan=deep", "of combination"},

		{"supersessions", "new=p", "new circle"},
		{"supersessions", "kind=two-way", "qty combination"},
		{"supersessions", "kind=two-way; qty=1", ""},
		{"companions", "companion=p", "companion circle"},
		{"serves", "served_by=m", "served_by circle"},

		{"fills", "refill=0", "refill number"},
		{"fills", "refill=-1", "refill number"},
		{"fills", "dry=200.5", ""},
		{"fills", "dry=201", "dry number"},
		{"fills", "refill=4.6", "dry range"},
		{"fills", "dry=", ""},
		{"fills", "temp_from=51", "temp_to range"},
		{"fills", "temp_from=50", ""},

		{"suppliers", "freight=-1", "freight number"},
		{"suppliers", "free_freight=-1", "free_freight number"},
		{"suppliers", "minimum=-0.01", "minimum number"},
		{"suppliers", "currency=Eur", "currency cell"},
		{"suppliers", "currency=EURO", "currency cell"},
		{"suppliers", "cutoff=9:30", "cutoff cell"},
		{"suppliers", "cutoff=24:00", "cutoff cell"},
		{"suppliers", "cutoff=12:60", "cutoff cell"},
		{"suppliers", "cutoff=1200", "cutoff cell"},
		{"suppliers", "cutoff=23:59", ""},
		{"suppliers", "cutoff=", ""},

		{"offers", "price=-1", "price number"},
		{"offers", "litres=-1", "litres number"},
		{"torques", "torque=0", "torque number"},
		{"torques", "tolerance=-1", "tolerance number"},
		{"sites", "ohm=0", "ohm number"},
		{"sites", "tolerance=-1", "tolerance number"},
		{"sites", "temp=-20", ""},
		{"fills", "area=0", "area number"},
		{"fills", "area=250; engine=off", ""},
		{"seals", "length=0; least=; fitted=", "length number"},
		{"seals", "tolerance=-0.1", "tolerance number"},
		{"seals", "least=31.6", "least range"},
		{"seals", "least=31.5", ""},
		{"seals", "fitted=31.6", "fitted range"},
		{"seals", "fitted=31.5", ""},
		{"rings", "section=0", "section number"},
		{"rings", "inside=-1", "inside number"},
		{"faults", "code=P0750", ""},
		{"faults", "code=U3FFF", ""},
		{"faults", "code=P4000", "code cell"},
		{"faults", "code=P075", "code cell"},
		{"faults", "code=P07500", "code cell"},
		{"faults", "code=X0750", "code cell"},
		{"faults", "code=P0G50", "code cell"},
		{"ports", "pressure=0", "pressure number"},
		{"ports", "volume=-1", "volume number"},
		{"ports", "leak=-1", "leak number"},
		{"ports", "pressure=102", "pressure number"},
		{"ports", "pressure=101", ""},
		{"ports", "pressure=400; medium=air", ""},
		{"sheets", "value=-1", "value number"},
		{"sheets", "property=pour-point; value=-48", ""},
		{"limits", "least=; most=", "least combination"},
		{"limits", "least=5.5", "most range"},
		{"limits", "least=", ""},
		{"consumables", "litres=1", "qty combination"},
		{"consumables", "qty=", "qty combination"},
		{"consumables", "qty=; litres=0.5", ""},
		{"consumables", "qty=; litres=-1", "litres number"},
		{"breaks", "from=1", "from number"},
		{"breaks", "price=0", "price number"},

		{"notes", "state=confirmed", "confirmed combination"},
		{"notes", "state=confirmed; confirmed=bench 2", ""},
		{"notes", "confirmed=bench 2", "confirmed combination"},
		{"notes", "state=withdrawn; confirmed=bench 2", ""},
	} {
		if got := strings.Join(checkRow(t, c.table, good[c.table], c.cells), ", "); got != c.want {
			t.Errorf("%s with %s: %q, want %q", c.table, c.cells, got, c.want)
		}
	}
}

// TestWorldRules holds the rules that a row must obey beside others: references,
// marks and roles, layouts, circles. Each world announces its findings.
func TestWorldRules(t *testing.T) {
	for _, c := range []struct{ name, world string }{
		{"nothing wrong", `
-- variants.csv --
variant
ALDER
-- findings --
`},
		{"references", `
-- families.csv --
family, maker
F,      nobody
-- variants.csv --
variant, layout
ALDER,   missing
-- roles.csv --
role, assembly
seal, body
-- parts.csv --
part
0012
-- fits.csv --
scope,   of,        role, part
variant, ALDER,     seal, 12
family,  G,         seal, 13
mark,    pan=deep,  lid,  0012
-- caution_links.csv --
on,     of,    caution
family, G,     none
part,   13,    none
-- notes.csv --
on,      of
variant, BIRCH
-- findings --
families.csv:2 column maker: dangling
variants.csv:2 column layout: dangling
roles.csv:2 column assembly: dangling
fits.csv:2 column part: leading-zeros
fits.csv:3 column of: dangling
fits.csv:3 column part: dangling
fits.csv:4 column of: dangling
fits.csv:4 column role: dangling
caution_links.csv:2 column caution: dangling
caution_links.csv:2 column of: dangling
caution_links.csv:3 column caution: dangling
caution_links.csv:3 column of: dangling
notes.csv:2 column of: dangling
`},
		{"marks and roles", `
-- variants.csv --
variant
ALDER
-- marks.csv --
mark, kind,     unit, force
coil, measured, Ω,    deciding
caps, seen,     ,     hinting
pan,  seen,     ,     deciding
-- shows.csv --
of,    mark, value, tolerance
ALDER, coil, five
ALDER, pan,  deep,  0.2
ALDER, coil, 5,     0.2
-- roles.csv --
role,  kind
fluid, fluid
seal,  part
-- parts.csv --
part
P
-- fits.csv --
of,         role,  effect,       part, when
ALDER,      fluid, fits,         P
ALDER,      fluid, does-not-fit, P
coil=5,     seal,  fits,         P
caps=green, seal,  fits,         P
ALDER,      seal,  fits,         P,    coil=5
ALDER,      seal,  fits,         P,    caps=green
ALDER,      seal,  fits,         P,    lid=wide
ALDER,      seal,  fits,         P,    pan=deep
pan=deep,   seal,  fits,         P
-- fills.csv --
of, role, spec
F,  seal, M
-- findings --
shows.csv:2 column value: cell
shows.csv:3 column tolerance: combination
fits.csv:2 column role: combination
fits.csv:4 column of: combination
fits.csv:5 column of: combination
fits.csv:6 column when: combination
fits.csv:7 column when: combination
fits.csv:8 column when: dangling
fills.csv:2 column role: combination
`},
		{"layouts", `
-- variants.csv --
variant, layout
ALDER,   good
-- layouts.csv --
layout
good
empty
twice
blind
checked
-- fields.csv --
layout,  field, kind,     chars, min, max, means,   scheme,   over,           weights
good,    type,  letters,  ,      2,   2,   variant
twice,   type,  letters,  ,      2,   2,   variant
twice,   Ty-pe, digits,   ,      1,   1,   nothing
blind,   no,    digits,   ,      2,   2,   serial
checked, type,  digits,   ,      2,   2,   variant
checked, check, digits,   ,      1,   1,   check,   luhn,     type nowhere
checked, self,  digits,   ,      1,   1,   check,   luhn,     type self type
checked, lett,  letters,  ,      1,   1,   nothing
checked, weak,  digits,   ,      1,   1,   check,   luhn,     lett
checked, heavy, digits,   ,      1,   1,   check,   mod-11-rest, type,        2 3 4
checked, right, digits,   ,      1,   1,   check,   mod-11-rest, type,        2 3
checked, open,  literal,  A?,    ,    ,    nothing
-- findings --
layouts.csv:3 column layout: missing
fields.csv:4 column field: duplicate
layouts.csv:5 column layout: missing
fields.csv:7 column over: dangling
fields.csv:8 column over: circle
fields.csv:8 column over: duplicate
fields.csv:10 column scheme: combination
fields.csv:11 column weights: combination
fields.csv:13 column chars: code
`},
		{"a layout beyond all plates", `
-- variants.csv --
variant, layout
ALDER,   long
-- layouts.csv --
layout
long
-- fields.csv --
layout, field, kind,    min, max, means
long,   a,     letters, 2,   40,  variant
long,   b,     digits,  2,   25,  serial
-- findings --
fields.csv:3 column kind: combination
layouts.csv:2 column layout: too-large
`},
		{"assemblies", `
-- assemblies.csv --
assembly, follows
case
body,     module
module,   body
-- variants.csv --
variant
ALDER
-- findings --
assemblies.csv:3 column follows: circle
assemblies.csv:4 column follows: circle
`},
		{"two roots", `
-- assemblies.csv --
assembly
case
cover
-- variants.csv --
variant
ALDER
-- findings --
assemblies.csv:3 column follows: combination
`},
		{"numbers, kits and fluids", `
-- parts.csv --
part, kind
P,    single
Q,    single
K,    kit
S,    set
F1,   fluid
-- numbers.csv --
number, part
q,      P
p,      P
77,     P
-- contents.csv --
kit, part
K,   P
S,   P
P,   Q
-- meets.csv --
spec, fluid
M,    F1
M,    P
-- findings --
numbers.csv:2 column number: duplicate
contents.csv:4 column kit: combination
meets.csv:3 column fluid: combination
`},
		{"one-way circle", `
-- parts.csv --
part
A
B
C
D
-- supersessions.csv --
old, new
A,   B
B,   C
C,   A
C,   D
-- findings --
supersessions.csv:2 column new: circle
supersessions.csv:3 column new: circle
supersessions.csv:4 column new: circle
`},
		{"two-way groups are no circles", `
-- parts.csv --
part
A
B
C
D
-- supersessions.csv --
old, new, kind
A,   B,   two-way
B,   C,   two-way
C,   A,   two-way
C,   D,   one-way
-- findings --
`},
		{"a one-way row inside a two-way group", `
-- parts.csv --
part
A
B
C
-- supersessions.csv --
old, new, kind
A,   B,   two-way
B,   C,   two-way
A,   C,   one-way
-- findings --
supersessions.csv:4 column new: circle
`},
		{"a circle through a two-way group and a split", `
-- parts.csv --
part
A
B
C
D
-- supersessions.csv --
old, new, kind
A,   B,   two-way
B,   C,   split
B,   D,   split
C,   A,   one-way
-- findings --
supersessions.csv:3 column new: circle
supersessions.csv:5 column new: circle
`},
		{"splits", `
-- parts.csv --
part
A
B
C
D
E
-- supersessions.csv --
old, new, kind,    qty
A,   B,   split,   1
C,   B,   split,   2
D,   B,   split,   1
D,   C,   split,   1
D,   E,   one-way, 1
-- findings --
supersessions.csv:2 column kind: combination
supersessions.csv:4 column kind: combination
`},
		{"kits in a circle", `
-- parts.csv --
part, kind
K,    kit
L,    kit
M,    kit
-- contents.csv --
kit, part
K,   L
L,   M
M,   K
-- findings --
contents.csv:2 column part: circle
contents.csv:3 column part: circle
contents.csv:4 column part: circle
`},
	} {
		t.Run(c.name, func(t *testing.T) { catalogtest.World(t, []byte(c.world)) })
	}
}

// TestReferences holds what rows refer to, with scopes that choose the table.
func TestReferences(t *testing.T) {
	for _, c := range []struct{ table, cells, want string }{
		{"fits", "", "of variants AA, part parts P, role roles GASKET, source sources DEMO"},
		{"fits", "scope=family; of=x-1", "of families X1, part parts P, role roles GASKET, source sources DEMO"},
		{"fits", "scope=mark; of=Pan-Shape=deep; effect=does-not-fit; part=", "of marks PANSHAPE, role roles GASKET, source sources DEMO"},
		{"shows", "", "mark marks COIL, of variants AA, source sources DEMO"},
		{"fills", "", "of families F, role roles FLUID, source sources DEMO, spec specs M"},
		{"torques", "scope=variant; of=AA", "of variants AA, source sources DEMO"},
		{"sites", "", "of families F, role roles GASKET, source sources DEMO"},
		{"caution_links", "", "caution cautions HOT, of work RESEAL"},
		{"caution_links", "on=role; of=a", "caution cautions HOT, of roles A"},
		{"caution_links", "on=family; of=a", "caution cautions HOT, of families A"},
		{"caution_links", "on=mark; of=a", "caution cautions HOT, of marks A"},
		{"caution_links", "on=part; of=a", "caution cautions HOT, of parts A"},
		{"notes", "", "of parts P"},
		{"notes", "on=variant", "of variants P"},
		{"notes", "on=family; family=F", "family families F, of families P"},
		{"notes", "on=mark", "of marks P"},
		{"notes", "on=work", "of work P"},
		{"companions", "replacing=o", "companion parts Q, part parts P, replacing parts O, source sources DEMO"},
		{"makers", "source=", ""},
	} {
		tb, row := rowOf(t, c.table, good[c.table], c.cells)
		var got []string
		for column, ref := range catalog.References(tb, row) {
			got = append(got, fmt.Sprintf("%s %s %s", column, ref.Table, catalog.ShowKey(ref.Key)))
			if !slices.Contains(catalog.ReferredTables(tb), ref.Table) {
				t.Errorf("%s can refer to %s, and ReferredTables does not say so", c.table, ref.Table)
			}
		}
		slices.Sort(got)
		if s := strings.Join(got, ", "); s != c.want {
			t.Errorf("%s with %s refers to %q, want %q", c.table, c.cells, s, c.want)
		}
		// Who stops early is not asked again.
		for range catalog.References(tb, row) {
			break
		}
	}
}

// TestFindings holds what becomes of findings: the order, the count beyond the
// limit of one kind, the value cut, and the error that refuses the input.
func TestFindings(t *testing.T) {
	var fs catalog.Findings
	if fs.Err() != nil || len(fs.List()) != 0 {
		t.Error("there is an error without a finding")
	}
	fs.Add(catalog.Finding{Code: catalog.EmptyTable, Severity: catalog.Remark, Place: catalog.Place{File: "b.csv"}})
	if fs.Err() != nil {
		t.Error("a remark refuses the input")
	}
	long := strings.Repeat("Ω", 100)
	for i := range catalog.MaxFindings + 5 {
		fs.Add(catalog.Finding{Code: catalog.BadCell, Place: catalog.Place{File: "a.csv", Row: 300 - i, Column: "x"}, Value: long, What: "wrong", Mend: "mend it"})
	}
	list := fs.List()
	if len(list) != catalog.MaxFindings+1 || fs.Dropped() != 5 || fs.Refused() != catalog.MaxFindings+5 {
		t.Errorf("%d are listed, %d dropped, %d refuse", len(list), fs.Dropped(), fs.Refused())
	}
	if !slices.IsSortedFunc(list, func(a, b catalog.Finding) int { return strings.Compare(a.File, b.File)*1000 + a.Row - b.Row }) {
		t.Error("the list is not in the order of file and row")
	}
	if v := list[0].Value; len(v) > 84 || !strings.HasSuffix(v, "…") || !strings.HasPrefix(long, strings.TrimSuffix(v, "…")) {
		t.Errorf("the value is cut to %q", v)
	}
	refused, ok := fs.Err().(*catalog.RefusedError)
	if !ok || refused.Dropped != 5 || !strings.Contains(refused.Error(), fmt.Sprint(catalog.MaxFindings+6)) {
		t.Errorf("the error is %v", fs.Err())
	}
	var all, other catalog.Findings
	other.Add(catalog.Finding{Code: catalog.BadCell, Place: catalog.Place{File: "c.csv"}})
	all.Merge(&fs)
	all.Merge(&other)
	if all.Dropped() != 5 || all.Refused() != catalog.MaxFindings+6 || len(all.List()) != catalog.MaxFindings+2 {
		t.Errorf("merged: %d listed, %d dropped, %d refuse", len(all.List()), all.Dropped(), all.Refused())
	}
	f := catalog.Finding{Place: catalog.Place{File: "fits.csv", Row: 7, Column: "part"}, Value: "P", What: "it is not there", Mend: "add it"}
	if got, want := f.String(), `fits.csv:7 column part: it is not there (found "P"); add it`; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}
