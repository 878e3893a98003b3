package cli

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"platewright/catalog"
	"platewright/cmd/platewright/internal/render"
	"platewright/resolve"
	"platewright/resolve/measure"
	"platewright/resolve/measure/coil"
)

// coilFlags are what was measured beside the readings.
type coilFlags struct {
	at, lead, hot, nominal, tolerance, from string
}

func (a *app) measureCoilCmd() *cobra.Command {
	var unit unitFlags
	var f coilFlags
	c := &cobra.Command{
		Use:   "coil [PLATE] [SITE=READING...]",
		Short: "Judge actuator coils by their resistance",
		Long: `Coil judges the resistance of actuator coils against the data of the unit, at the
temperature that they had. A whole set can be given at once; then the spread
between coils that should be alike is shown too. OL or open stands for no
circuit. Without readings it lists what a meter should read at each site.

A reading has its unit: P1=5.4ohm, 'P1=5,4 Ω'. --from FILE (or - for standard
input) reads a CSV file with the columns site and reading, or site and ohm, in
which bare numbers are in Ω. Without PLATE give --nominal and --tolerance.`,
		Example: `  platewright measure coil 'PLATE' --at 24C --lead 0.2ohm P1=5.4ohm P2=5.5ohm
  platewright measure coil 'PLATE' --at 24C
  platewright measure coil --at 60C --nominal 10ohm --tolerance 1ohm coil=12.1ohm`,
		RunE: func(c *cobra.Command, args []string) error {
			named, rest, err := pairs(args)
			if err != nil {
				return err
			}
			if len(rest) > 1 {
				return usagef("%q and %q: give one PLATE, and readings as SITE=READING", rest[0], rest[1])
			}
			plate := ""
			if len(rest) == 1 {
				plate = rest[0]
			}
			return a.measureCoil(&unit, f, plate, named)
		},
		ValidArgsFunction: a.completeArgs(a.completePlates),
	}
	unit.add(a, c, false)
	s := c.Flags()
	s.StringVar(&f.at, "at", "", "`TEMPERATURE` of the coils when they were measured, such as 24C or 75F")
	s.StringVar(&f.lead, "lead", "", "`RESISTANCE` that the meter shows with its leads held together (default: leads zeroed)")
	s.StringVar(&f.hot, "hot", "", "`TEMPERATURE` for the hot values (default: 90 °C)")
	s.StringVar(&f.nominal, "nominal", "", "without PLATE: nominal `RESISTANCE` at 20 °C")
	s.StringVar(&f.tolerance, "tolerance", "", "without PLATE: its tolerance, a `RESISTANCE`")
	s.StringVar(&f.from, "from", "", "read the set from a CSV `FILE`, or - for standard input")
	return c
}

func (a *app) measureCoil(unit *unitFlags, f coilFlags, plate string, named [][2]string) error {
	var at coil.Conditions
	for _, x := range []struct {
		flag, text string
		kind       measure.Kind
		to         *measure.Quantity
	}{{"--at", f.at, measure.Temperature, &at.Temp}, {"--lead", f.lead, measure.Resistance, &at.Lead}, {"--hot", f.hot, measure.Temperature, &at.Hot}} {
		if x.text == "" {
			continue
		}
		q, err := quantity(x.flag, x.text, x.kind)
		if err != nil {
			return err
		}
		*x.to = q
	}
	var set []coil.Reading
	for _, p := range named {
		r, err := coil.ParseReading(p[0], p[1], 0)
		if err != nil {
			return usagef("%s=%s: %v", p[0], p[1], err)
		}
		set = append(set, r)
	}
	if f.from != "" {
		list, err := a.coilSet(f.from)
		if err != nil {
			return err
		}
		set = append(set, list...)
	}
	if !unit.givesUnit(plate) {
		return a.coilByHand(f, set, at)
	}
	if f.nominal != "" || f.tolerance != "" {
		return usagef("--nominal and --tolerance are for coils without a unit; here the catalogue has them")
	}
	q, err := unit.question(plateArgs(plate))
	if err != nil {
		return err
	}
	b, err := a.bench(q)
	if err != nil {
		return err
	}
	defer b.Close()
	cands, of, roles, err := b.coilCandidates()
	if err != nil {
		return err
	}
	var rep *coil.Report
	if len(set) == 0 {
		rep, err = coil.Expect(cands, at)
	} else {
		rep, err = coil.Judge(cands, set, at)
	}
	if err != nil {
		return coilUsage(err)
	}
	if rep.Verdict.Bad() {
		others, err := b.relatives(of)
		if err != nil {
			return err
		}
		rep.Relatives(others)
	}
	m := &render.MeasureCoil{Schema: coil.Schema, Report: *rep}
	if m.Bench, err = b.about(plate, of, roles, nil); err != nil {
		return err
	}
	return a.answerCoil(m)
}

// plateArgs gives a plate as the arguments of a question.
func plateArgs(plate string) []string {
	if plate == "" {
		return nil
	}
	return []string{plate}
}

func coilUsage(err error) error {
	var e *coil.Error
	if errors.As(err, &e) {
		return &usageError{e.Error(), "platewright measure coil"}
	}
	return err
}

// coilByHand answers without a unit: against a nominal that was given, or
// without one.
func (a *app) coilByHand(f coilFlags, set []coil.Reading, at coil.Conditions) error {
	if len(set) == 0 {
		return &usageError{"what was measured? give PLATE to see what a meter should read, or readings as SITE=READING", "platewright measure coil"}
	}
	var cands []coil.Candidate
	if f.nominal != "" {
		nominal, err := quantity("--nominal", f.nominal, measure.Resistance)
		if err != nil {
			return err
		}
		if f.tolerance == "" {
			return usagef("--nominal %s: give --tolerance too, how far a good one can be off", f.nominal)
		}
		tol, err := quantity("--tolerance", f.tolerance, measure.Resistance)
		if err != nil {
			return err
		}
		known := func(q measure.Quantity) catalog.Decimal {
			return catalog.Decimal{Num: q.In(measure.Ohm).Value, Known: true}
		}
		var c coil.Candidate
		for _, r := range set {
			c.Sites = append(c.Sites, &catalog.Site{Site: r.Site, Role: "by hand", Ohm: known(nominal), Tolerance: known(tol)})
		}
		cands = append(cands, c)
	} else if f.tolerance != "" {
		return usagef("--tolerance %s: give --nominal too", f.tolerance)
	}
	rep, err := coil.Judge(cands, set, at)
	if err != nil {
		return coilUsage(err)
	}
	for i := range rep.Sites {
		rep.Sites[i].Role = ""
	}
	return a.answerCoil(&render.MeasureCoil{Schema: coil.Schema, Bench: noBench(), Report: *rep})
}

// noBench is said of figures that belong to no unit.
func noBench() render.Bench {
	return render.Bench{Variants: []catalog.VariantCode{}, Cautions: []resolve.Caution{}}
}

func (a *app) answerCoil(m *render.MeasureCoil) error {
	var err error
	if a.json {
		err = render.JSON(a.out, m)
	} else {
		err = render.MeasureCoilText(a.out, m, a.screen())
	}
	if err != nil {
		return err
	}
	// In order for some of the variants only is not settled, and neither is a reading
	// without a nominal; a list of what a meter should read asks nothing.
	read := slices.ContainsFunc(m.Sites, func(s coil.Site) bool { return s.Verdict == "" && s.Read.Known() })
	return outOfLimits(m.Verdict.Bad(), m.Verdict == coil.Differs || read)
}

// coilCandidates gives the candidates with their sites, each variant with those of
// the assemblies that it is a candidate of.
func (b *benchUnit) coilCandidates() (cands []coil.Candidate, of []resolve.Candidate, roles []string, err error) {
	all, err := b.everyCandidate()
	if err != nil {
		return nil, nil, nil, err
	}
	var lists [][]resolve.Candidate
	for _, s := range b.decision.Assemblies {
		lists = append(lists, all[catalog.Fold(s.Assembly)])
	}
	for _, v := range union(lists...) {
		sites, err := scoped(b.cat, catalog.TSites, v, func(r *catalog.Site) string { return r.Site })
		if err != nil {
			return nil, nil, nil, err
		}
		c := coil.Candidate{Variant: v.Variant}
		for _, row := range sites {
			if !slices.ContainsFunc(b.of(all, row.Role), func(o resolve.Candidate) bool { return o.Variant == v.Variant }) {
				continue // of an assembly that is not this variant's
			}
			c.Sites = append(c.Sites, row)
			if !slices.Contains(roles, row.Role) {
				roles = append(roles, row.Role)
			}
		}
		if len(c.Sites) > 0 {
			cands, of = append(cands, c), append(of, v)
		}
	}
	slices.Sort(roles)
	if len(cands) == 0 {
		return nil, nil, nil, errors.New("the catalogue has no actuator site for what this unit can be; add rows to the table sites")
	}
	return cands, of, roles, nil
}

// maxRelatives is how many variants of the families of a unit are looked at.
const maxRelatives = 2000

// relatives gives the variants of the families of the candidates with their sites.
func (b *benchUnit) relatives(of []resolve.Candidate) ([]coil.Candidate, error) {
	t := catalog.TableByName(catalog.TVariants)
	var keys, families []string
	for _, c := range of {
		f := catalog.Fold(c.Family)
		if slices.Contains(families, f) {
			continue
		}
		families = append(families, f)
		if err := b.cat.Referring(t, "family", f, func(key string) bool {
			keys = append(keys, key)
			return len(keys) < maxRelatives
		}); err != nil {
			return nil, err
		}
	}
	var out []coil.Candidate
	for _, key := range keys {
		rows, err := b.cat.Group(t, key)
		if err != nil {
			return nil, err
		}
		for _, r := range rows {
			v := any(r).(*catalog.Variant)
			sites, err := scoped(b.cat, catalog.TSites, resolve.Candidate{Variant: v.Variant, Family: v.Family}, func(r *catalog.Site) string { return r.Site })
			if err != nil {
				return nil, err
			}
			out = append(out, coil.Candidate{Variant: v.Variant, Sites: sites})
		}
	}
	return out, nil
}

// coilSet reads a set from a CSV file with a heading. Whatever is wrong with it
// is reported, and then nothing of it is used.
func (a *app) coilSet(from string) ([]coil.Reading, error) {
	in, name := a.in, "standard input"
	if from != "-" {
		file, err := os.Open(from)
		if err != nil {
			return nil, hint(err, "Give --from the name of a CSV file, or - for standard input.")
		}
		defer file.Close()
		in, name = file, from
	}
	const most = 1 << 20
	text, err := io.ReadAll(io.LimitReader(in, most+1))
	if err != nil {
		return nil, err
	}
	set, findings := readCoilSet(text, name, most)
	err = findings.Err()
	var refused *catalog.RefusedError
	if errors.As(err, &refused) {
		return nil, errors.Join(err, render.FindingsText(a.err, refused.Findings, refused.Dropped, render.Screen{}))
	}
	return set, err
}

func readCoilSet(text []byte, name string, most int) ([]coil.Reading, *catalog.Findings) {
	findings := &catalog.Findings{}
	refuse := func(code catalog.FindingCode, row int, column, value, what, mend string) {
		findings.Add(catalog.Finding{Code: code, Place: catalog.Place{File: name, Row: row, Column: column}, Value: value, What: what, Mend: mend})
	}
	if len(text) > most {
		refuse(catalog.TooLarge, 0, "", "", "a set of coils is not that large", "give the CSV file of one unit")
		return nil, findings
	}
	r := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(text, []byte("\ufeff"))))
	r.FieldsPerRecord, r.TrimLeadingSpace = -1, true
	head, err := r.Read()
	if err != nil {
		refuse(catalog.BadHeading, 1, "", "", "there is no heading", "begin with a line that names the columns: site,ohm")
		return nil, findings
	}
	site, reading, unit := -1, -1, measure.Unit(0)
	for i, h := range head {
		switch h = strings.ToLower(strings.TrimSpace(h)); {
		case h == "site" && site < 0:
			site = i
		case (h == "ohm" || h == "Ω" || h == "ω") && reading < 0:
			reading, unit = i, measure.Ohm
		case h == "reading" && reading < 0:
			reading = i
		default:
			refuse(catalog.BadHeading, 1, head[i], "", "the column is not one of site and reading or ohm, or stands twice", "name the columns site and reading, or site and ohm where bare numbers are in Ω")
		}
	}
	if findings.Refused() == 0 && (site < 0 || reading < 0) {
		refuse(catalog.BadHeading, 1, "", strings.Join(head, ","), "a column is missing", "name the columns site and reading, or site and ohm where bare numbers are in Ω")
	}
	if findings.Refused() > 0 {
		return nil, findings
	}
	var set []coil.Reading
	for {
		cells, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			row, what := 0, err.Error()
			if e := (*csv.ParseError)(nil); errors.As(err, &e) {
				row, what = e.Line, e.Err.Error()
			}
			refuse(catalog.BadShape, row, "", "", what, "correct the line; quotes stand around a whole cell")
			break
		}
		row, _ := r.FieldPos(0)
		if len(cells) != len(head) {
			refuse(catalog.BadShape, row, "", strings.Join(cells, ","), fmt.Sprintf("the row has %d cells and the heading %d", len(cells), len(head)), "a decimal comma needs quotes around the number: \"5,4\"")
			continue
		}
		name, text := strings.TrimSpace(cells[site]), cells[reading]
		if name == "" {
			refuse(catalog.Missing, row, "site", "", "the cell is empty", "write the site that was measured")
			continue
		}
		v, err := coil.ParseReading(name, text, unit)
		if err != nil {
			what, mend := err.Error(), "correct the reading"
			if e := (*measure.Error)(nil); errors.As(err, &e) {
				what, mend = e.Wrong(), e.Mend()
			}
			refuse(catalog.BadCell, row, head[reading], text, what, mend)
			continue
		}
		set = append(set, v)
	}
	if findings.Refused() == 0 && len(set) == 0 {
		refuse(catalog.NothingToImport, 0, "", "", "no reading stands in it", "write one line for each site under the heading")
	}
	return set, findings
}
