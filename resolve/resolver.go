package resolve

import (
	"fmt"
	"slices"
	"strings"

	"platewright/catalog"
	"platewright/resolve/plate"
)

// Resolver answers questions about one catalogue. It remembers what many
// variants share, and is not safe for concurrent use: give each goroutine its
// own.
type Resolver struct {
	cat          Catalogue
	edition      Edition
	r            *reader
	layouts      map[string][]*plate.Layout // by key of the assembly
	variantCodes plate.Codes
	memory       memory
}

// memory is what a decision works in and nobody keeps. The next one works in it
// again.
type memory struct {
	outcomes map[string][]candidateOutcome
	worlds   []candidateOutcome
	asked    []askedRole
}

// New gives a resolver for a catalogue; the edition is copied into every
// decision.
func New(cat Catalogue, edition Edition) *Resolver {
	r := newReader(cat)
	return &Resolver{cat: cat, edition: edition, r: r, variantCodes: plate.TrimSep(variantCodes{cat, r.tVariants}),
		memory: memory{outcomes: map[string][]candidateOutcome{}}}
}

// about gives the edition, with whether its sources are made up.
func (res *Resolver) about() (Edition, error) {
	e := res.edition
	var err error
	e.Invented, err = res.r.madeUp()
	return e, err
}

// Options leaves parts of a decision out, for lists of many units.
type Options struct {
	NoLookAlikes bool // do not look for look-alikes
	NoNextCheck  bool // do not look for the next check
	WholePlan    bool // give the whole plan of checks
	NoFigures    bool // leave the sheet of figures out
	NoNear       bool // do not list near readings of what matches nothing
	NoNotes      bool // do not list notes and cautions; notes hold lines all the same
	NoTrails     bool // leave the trail of each choice empty
}

// QuestionReason says in one word why a question cannot be answered.
type QuestionReason string

const (
	NothingRead     QuestionReason = "nothing-read"      // neither plate nor label nor fields
	UnknownName     QuestionReason = "unknown-name"      // the catalogue has no such mark, role, scope of work, field, variant
	SeveralLeft     QuestionReason = "several"           // the text leaves several variants, which are Known, where one must be meant
	NoValue         QuestionReason = "no-value"          // a mark without a value
	GivenTwice      QuestionReason = "given-twice"       // one mark with two values, or the plate whole and by fields
	NoLabels        QuestionReason = "no-labels"         // the catalogue knows no labels
	NoPlace         QuestionReason = "no-place"          // a doubt that names no place of a reading
	NotOneCharacter QuestionReason = "not-one-character" // a doubt about a place where more or less than one character was read; Known is the place
	NotReadable     QuestionReason = "not-readable"      // the text cannot be read as what it should be; see Err
)

// QuestionError says what in a question cannot be answered.
type QuestionError struct {
	Part   string         // plate, label, field, mark, work, role, part, variant
	Value  string         // as given
	Reason QuestionReason // empty where Err says it
	Known  []string       // what could have been meant, where it is a matter of names
	Err    error          // why the value cannot be read, or nil
}

func (e *QuestionError) Error() string {
	if e.Err != nil {
		return fmt.Sprintf("%s: %v", e.Part, e.Err)
	}
	switch e.Reason {
	case NothingRead:
		return "there is neither a plate nor a label to go by; give what can be read of one, with ? for what cannot"
	case UnknownName:
		s := fmt.Sprintf("the catalogue knows no %s %q", e.Part, e.Value)
		if near := catalog.Nearest(e.Value, e.Known); near != "" {
			return s + fmt.Sprintf("; did you mean %q?", near)
		}
		if len(e.Known) > 0 && len(e.Known) <= 60 {
			return s + "; it knows " + strings.Join(e.Known, ", ")
		}
		return s + "; check the spelling"
	case SeveralLeft:
		const most = 12
		s := fmt.Sprintf("%q leaves %d variants: %s", e.Value, len(e.Known), strings.Join(e.Known[:min(len(e.Known), most)], ", "))
		if more := len(e.Known) - most; more > 0 {
			s += fmt.Sprintf(" and %d more", more)
		}
		return s + "; name one of them, or read more of the plate"
	case NoValue:
		return fmt.Sprintf("the mark %q has no value; write MARK=VALUE", e.Value)
	case GivenTwice:
		if e.Part == "plate" {
			return fmt.Sprintf("the plate is given whole, %q, and field by field; give it one way", e.Value)
		}
		return fmt.Sprintf("%q was given before with another value; give each mark once", e.Value)
	case NoPlace:
		return fmt.Sprintf("the doubt %q names no place of what was read; write the number of the character, 1 for the first that is no separator, or %q for one slip anywhere, and label: before it for a label", e.Value, AnySlip)
	case NotOneCharacter:
		return fmt.Sprintf("the doubt about character %s of the %s %q: there is no single character read; count from 1 without separators, and write ? or [38] where more can stand", strings.Join(e.Known, ", "), e.Part, e.Value)
	case NoLabels:
		return fmt.Sprintf("the catalogue knows no labels, so %q cannot be one", e.Value)
	}
	return fmt.Sprintf("%s %q cannot be read", e.Part, e.Value)
}

func (e *QuestionError) Unwrap() error { return e.Err }

// decider works out one decision.
type decider struct {
	res        *Resolver
	r          *reader
	q          Question
	o          Options
	dec        *Decision
	assemblies []*assemblyWork // root first
	seen       []*seenMark
	asked      []askedRole
	work       []*catalog.WorkScope
	fill       catalog.FillKind
	outcomes   map[string][]candidateOutcome // by key of the role
	worlds     []candidateOutcome            // all of outcomes, role after role
	groups     []Group                       // those that are the only ones of their role
	members    []Member                      // of groups
	families   map[string]bool               // of all candidates
	notes      map[string][]*catalog.Note
	noteOrder  []string
	checkHelps map[string]bool // roles that the next check can settle
}

func (d *decider) assembly(key string) *assemblyWork {
	for _, a := range d.assemblies {
		if a.key == key {
			return a
		}
	}
	return nil
}

// Decide answers the question. Trouble of the unit (a worn plate, evidence that
// contradicts itself) is in the decision; an error is a [*QuestionError] for
// what cannot be asked, or trouble of the catalogue.
func (res *Resolver) Decide(q Question, o Options) (*Decision, error) {
	d, err := res.prepare(q, o)
	if err != nil {
		return nil, err
	}
	d.dec.Roles = make([]RoleAnswer, 0, len(d.asked))
	d.outcomes, d.worlds = res.memory.outcomes, res.memory.worlds[:0]
	clear(d.outcomes)
	for i := range d.asked {
		ans, err := d.answerRole(&d.asked[i])
		if err != nil {
			return nil, err
		}
		d.dec.Roles = append(d.dec.Roles, ans)
	}
	if !o.NoNextCheck {
		if err := d.nextCheck(); err != nil {
			return nil, err
		}
	}
	if !o.NoLookAlikes {
		if err := d.lookAlikes(); err != nil {
			return nil, err
		}
	}
	if err := d.gate(); err != nil {
		return nil, err
	}
	if q.Part != "" {
		if err := d.answerPart(); err != nil {
			return nil, err
		}
	}
	if !o.NoFigures {
		if err := d.figures(); err != nil {
			return nil, err
		}
	}
	if !o.NoNotes {
		if err := d.collectNotes(); err != nil {
			return nil, err
		}
		if err := d.collectCautions(); err != nil {
			return nil, err
		}
	}
	if cap(d.worlds) <= 1024 { // what a unit with hundreds of candidates took is given back
		res.memory.worlds = d.worlds
	}
	res.memory.asked = d.asked[:0]
	return d.dec, nil
}

// prepare reads the question and works out candidates and asked roles.
func (res *Resolver) prepare(q Question, o Options) (*decider, error) {
	q.BuiltISO = q.Built.String()
	res.r.lean = o.NoTrails
	d := &decider{res: res, r: res.r, q: q, o: o, families: map[string]bool{},
		asked: res.memory.asked, checkHelps: map[string]bool{}}
	d.dec = &Decision{Schema: Schema, Edition: res.edition, Question: q, Reading: []Reading{}, Assemblies: []AssemblyState{}, Conflicts: []Conflict{},
		Roles: []RoleAnswer{}, LookAlikes: []LookAlike{}, SafeToOrder: []OrderLine{}, Held: []HeldLine{}, Cautions: []Caution{}, Observations: []Observed{}, Notes: []Note{}}
	var err error
	if d.dec.Edition, err = res.about(); err != nil {
		return nil, err
	}
	if err := d.read(); err != nil {
		return nil, err
	}
	if err := d.observe(); err != nil {
		return nil, err
	}
	if err := d.candidates(); err != nil {
		return nil, err
	}
	if err := d.describe(); err != nil {
		return nil, err
	}
	return d, d.askRoles()
}

// askRoles works out which roles the question asks for.
func (d *decider) askRoles() error {
	if _, err := d.r.role(""); err != nil {
		return err
	}
	d.asked = slices.Grow(d.asked, len(d.r.roles))
	add := func(key string, need catalog.Need, why string) bool {
		role := d.r.roles[key]
		if role == nil {
			return false
		}
		for i := range d.asked {
			if d.asked[i].key == key {
				if need == catalog.NeedRequired && d.asked[i].need != need {
					d.asked[i].need, d.asked[i].why = need, why
				}
				return true
			}
		}
		d.asked = append(d.asked, askedRole{role: role, key: key, need: need, why: why})
		return true
	}
	// In whatever order scopes are named, the first by key says why.
	scopes := slices.Clone(d.q.Work)
	slices.SortStableFunc(scopes, func(a, b string) int { return strings.Compare(catalog.Fold(a), catalog.Fold(b)) })
	for _, w := range scopes {
		key := catalog.Fold(w)
		scope, err := d.r.work(key)
		if err != nil {
			return err
		}
		if scope == nil {
			var known []string
			if err := every(d.r.cat, catalog.TWork, func(s *catalog.WorkScope) { known = append(known, s.Work) }); err != nil {
				return err
			}
			return &QuestionError{Part: "scope of work", Value: w, Reason: UnknownName, Known: known}
		}
		d.work = append(d.work, scope.row)
		if fillRank(scope.row.Fill) > fillRank(d.fill) {
			d.fill = scope.row.Fill
		}
		for i, wr := range scope.roles {
			add(scope.keys[i], wr.Need, wr.Why)
		}
	}
	for _, name := range d.q.Roles {
		if !add(catalog.Fold(name), "", "") {
			var known []string
			for _, o := range d.r.roles {
				known = append(known, o.row.Role)
			}
			slices.Sort(known)
			return &QuestionError{Part: "role", Value: name, Reason: UnknownName, Known: known}
		}
	}
	if len(d.q.Work)+len(d.q.Roles) == 0 {
		stated, err := d.rolesStated()
		if err != nil {
			return err
		}
		for i, o := range d.r.roleOrder {
			if len(d.assemblies) == 0 || stated[i] {
				d.asked = append(d.asked, askedRole{role: o, key: o.key})
			}
		}
		return nil // in order, and each once
	}
	slices.SortStableFunc(d.asked, func(a, b askedRole) int {
		if x, y := needRank(a.need), needRank(b.need); x != y {
			return x - y
		}
		return strings.Compare(a.key, b.key)
	})
	return nil
}

func needRank(n catalog.Need) int {
	if n == catalog.NeedRecommended {
		return 1
	}
	return 0
}

func fillRank(f catalog.FillKind) int {
	switch f {
	case catalog.FillNone:
		return 1
	case catalog.FillRefill:
		return 2
	case catalog.FillDry:
		return 3
	}
	return 0
}

// rolesStated tells of which roles, by their places in the order of roles, the
// catalogue says something for a candidate of the assembly that decides them;
// all roles of assemblies without candidates are among them (V0).
func (d *decider) rolesStated() ([]bool, error) {
	stated := make([]bool, len(d.r.roleOrder))
	for _, as := range d.assemblies {
		if as.tooMany || len(as.cands) == 0 {
			for i, o := range d.r.roleOrder {
				stated[i] = stated[i] || o.assembly == as.key
			}
			continue
		}
		var done *family // whose own statements are gathered
		for _, v := range as.cands {
			if err := d.r.load(v); err != nil {
				return nil, err
			}
			from := func(f *fitsByRole) {
				if f == nil {
					return
				}
				for i := range f.roles {
					if o := f.roles[i].info; o != nil && o.assembly == as.key {
						stated[o.at] = true
					}
				}
			}
			from(v.fits)
			if len(v.shows) == 0 && len(v.fills) == 0 && len(as.known.seen) == 0 {
				// Nothing of its own beside its statements: the family says it all.
				if v.fam != done {
					for _, o := range d.r.rolesOfFamily(v.fam, as.key) {
						stated[o.at] = true
					}
				}
				done = v.fam
				continue
			}
			from(v.fam.fits)
			for _, m := range v.marks {
				from(m.fits)
			}
			for _, m := range v.fam.marks {
				if len(v.shows[m.mark]) == 0 {
					from(m.fits)
				}
			}
			for mark, value := range as.known.seen {
				f, err := d.r.fitsOfMark(mark, value)
				if err != nil {
					return nil, err
				}
				from(f)
			}
			for i, o := range d.r.roleOrder {
				if stated[i] || o.row.Kind != catalog.RoleFluid || o.assembly != as.key {
					continue
				}
				f, err := d.r.fill(v, o.key)
				if err != nil {
					return nil, err
				}
				stated[i] = f != nil
			}
		}
	}
	return stated, nil
}

// rolesOfFamily gives the roles of an assembly of which the family's own rows,
// or rows about the marks that it shows, say something.
func (r *reader) rolesOfFamily(f *family, assembly string) []*roleInfo {
	for i := range f.rolesOf {
		if f.rolesOf[i].assembly == assembly {
			return f.rolesOf[i].roles
		}
	}
	var list []*roleInfo
	add := func(o *roleInfo) {
		if o != nil && o.assembly == assembly && !slices.Contains(list, o) {
			list = append(list, o)
		}
	}
	from := func(fits *fitsByRole) {
		if fits != nil {
			for _, rf := range fits.roles {
				add(rf.info)
			}
		}
	}
	from(f.fits)
	for _, m := range f.marks {
		from(m.fits)
	}
	for k := range f.fills {
		add(r.roles[k])
	}
	f.rolesOf = append(f.rolesOf, assemblyRoles{assembly, list})
	return list
}

// collectCautions lists the cautions that ride on what the answer speaks of.
func (d *decider) collectCautions() error {
	t, links := catalog.TableByName(catalog.TCautions), catalog.TableByName(catalog.TCautionLinks)
	index := map[string]int{}
	put := func(key, on string) error {
		if i, ok := index[key]; ok {
			if !slices.Contains(d.dec.Cautions[i].For, on) {
				d.dec.Cautions[i].For = append(d.dec.Cautions[i].For, on)
			}
			return nil
		}
		c, err := first[catalog.Caution](d.r.cat, t, catalog.MakeKey(key))
		if err != nil || c == nil {
			return err
		}
		index[key] = len(d.dec.Cautions)
		d.dec.Cautions = append(d.dec.Cautions, Caution{Caution: c.Caution, Text: c.Text, Defer: c.Defer, Source: c.Source, For: []string{on}})
		return nil
	}
	linked := func(on catalog.CautionOn, of string) error {
		rows, err := group[catalog.CautionLink](d.r.cat, links, catalog.MakeKey(catalog.Fold(string(on)), catalog.Fold(of)))
		if err != nil {
			return err
		}
		for _, l := range rows {
			if err := put(catalog.Fold(l.Caution), string(on)+" "+l.Of); err != nil {
				return err
			}
		}
		return nil
	}
	for _, w := range d.work {
		if err := linked(catalog.OnWork, w.Work); err != nil {
			return err
		}
	}
	for _, a := range d.asked {
		if err := linked(catalog.OnRole, a.role.row.Role); err != nil {
			return err
		}
		for _, c := range d.outcomes[a.key] {
			if c.o.fluid != nil && c.o.fluid.Caution != "" {
				if err := put(catalog.Fold(c.o.fluid.Caution), "role "+a.role.row.Role); err != nil {
					return err
				}
				break
			}
		}
	}
	var families []string
	for f := range d.families {
		families = append(families, f)
	}
	slices.Sort(families)
	for _, f := range families {
		if err := linked(catalog.OnFamily, f); err != nil {
			return err
		}
	}
	marks := []string{}
	for _, s := range d.seen {
		marks = append(marks, s.mark.Mark)
	}
	if n := d.dec.NextCheck; n != nil && n.Mark != "" {
		marks = append(marks, n.Mark)
		if n.Caution != "" {
			if err := put(catalog.Fold(n.Caution), "mark "+n.Mark); err != nil {
				return err
			}
		}
	}
	for _, m := range marks {
		if err := linked(catalog.OnMark, m); err != nil {
			return err
		}
	}
	for _, l := range d.dec.SafeToOrder {
		for _, it := range append(slices.Clone(l.Items), l.Companions...) {
			if err := linked(catalog.OnPart, string(it.Part)); err != nil {
				return err
			}
		}
	}
	return nil
}
