package render

import (
	"io"
	"slices"
	"strconv"
	"strings"

	"platewright/catalog"
	"platewright/resolve"
	"platewright/resolve/goods"
)

// Words of the dialogue at goods-in.
const (
	ScanStop  = "." // leave the dialogue
	ScanOpen  = "?" // what is still open
	ScanBack  = "<" // take the last entry back
	ScanLooks = "y" // it looks as told
	ScanOdd   = "n" // it looks otherwise, with what is seen behind it
)

// Receive is how an order stands at goods-in, with what was done just now.
type Receive struct {
	Schema string        `json:"schema"`
	Booked bool          `json:"booked"` // something was written down
	Checks []goods.Check `json:"checks"`
	Same   *SameNote     `json:"same,omitempty"` // the delivery note was booked before with the same things: nothing was done
	goods.State
}

// SameNote is the receipt that a delivery note repeats.
type SameNote struct {
	DeliveryNote string `json:"deliveryNote"`
	At           string `json:"at,omitempty"`
	Who          string `json:"who,omitempty"`
}

// NewReceive makes the answer of a step at goods-in.
func NewReceive(r *goods.Result) Receive {
	x := Receive{Schema: goods.StateSchema, Booked: r.Receipt != nil, Checks: append([]goods.Check{}, r.Checks...), State: *r.State}
	if r.Same != nil {
		x.Same = &SameNote{DeliveryNote: r.Same.DeliveryNote, At: r.Same.At, Who: r.Same.Who}
	}
	return x
}

// piecesOf counts what is counted of a line.
func piecesOf(n int, l *goods.Line) string {
	if l != nil && l.PackOf.Known {
		return counted(n, "container of "+l.PackOf.String()+string(glue)+"l", "containers of "+l.PackOf.String()+string(glue)+"l")
	}
	return counted(n, "piece", "pieces")
}

// receivePage lays the answers of one order out.
type receivePage struct {
	*page
	x *Receive
}

func (t *receivePage) line(n int) *goods.LineState {
	for i := range t.x.Lines {
		if t.x.Lines[i].Line.Line == n {
			return &t.x.Lines[i]
		}
	}
	return nil
}

// ReceiveText writes what came of a step at goods-in, and what is still open.
func ReceiveText(w io.Writer, x Receive, s Screen) error {
	t := &receivePage{newPage(s), &x}
	t.demoRemark(x.Edition)
	t.gap()
	if x.Same != nil {
		t.put(0, 2, say("BOOKED BEFORE: ").in(warn), sayf("the delivery note %s was booked%s with the same things. Nothing was done.", glued(x.Same.DeliveryNote), atBy(x.Same.At, x.Same.Who)))
		t.gap()
	}
	for i := range x.Checks {
		t.check(&x.Checks[i])
	}
	t.standing(len(x.Checks) == 0)
	t.editionFoot(x.Edition)
	_, err := w.Write(t.buf.Bytes())
	return err
}

// ScanText writes what came of one line of a dialogue.
func ScanText(w io.Writer, x Receive, s Screen) error {
	t := &receivePage{newPage(s), &x}
	for i := range x.Checks {
		t.check(&x.Checks[i])
		c := &x.Checks[i]
		if c.Do == goods.Came && c.Unseen > 0 {
			t.put(2, 2, sayf("Does it look so? %s, or %s and what you see; or go on with the next number.", ScanLooks, ScanOdd).in(muted))
		}
	}
	_, err := w.Write(t.buf.Bytes())
	return err
}

// ScanRefusedText writes why a line of a dialogue was not booked.
func ScanRefusedText(w io.Writer, fs []catalog.Finding, s Screen) error {
	p := newPage(s)
	for _, f := range fs {
		p.put(0, 2, say("NOT BOOKED: ").in(alert), say(capital(f.What+tail(": ", f.Value))))
		switch f.Code {
		case catalog.Duplicate, catalog.TooLarge:
			p.put(2, 2, say("If it is so all the same, type it once more with ! behind it."))
		default:
			p.put(2, 2, say(capital(f.Mend)))
		}
	}
	_, err := w.Write(p.buf.Bytes())
	return err
}

// ScanOpenText writes what is still open of an order.
func ScanOpenText(w io.Writer, x Receive, s Screen) error {
	t := &receivePage{newPage(s), &x}
	t.standing(false)
	_, err := w.Write(t.buf.Bytes())
	return err
}

// ScanLineText writes how one line of an order stands, with what to look at.
func ScanLineText(w io.Writer, x Receive, line int, s Screen) error {
	t := &receivePage{newPage(s), &x}
	if l := t.line(line); l != nil {
		t.lineState(l, true)
	}
	_, err := w.Write(t.buf.Bytes())
	return err
}

// StandingText says how an order stands in a few words.
func StandingText(s *goods.Standing) string {
	if s.Complete {
		return "complete"
	}
	state := "not here yet"
	switch {
	case s.Short == 0:
		state = "here"
	case s.Came > 0:
		state = "partly here"
	}
	var rest []string
	add := func(is bool, what string) {
		if is {
			rest = append(rest, what)
		}
	}
	add(s.Odd, "something looks otherwise")
	add(s.More, "more than ordered came")
	add(s.Foreign, "something came that was not ordered")
	switch {
	case s.Short > 0 || len(rest) > 0:
	case s.Serves:
		// A look, a companion or whether it fits at all: the catalogue knows which.
		add(true, "not looked at or not settled")
	default:
		add(true, "not looked at")
	}
	if len(rest) == 0 {
		return state
	}
	return state + ", " + strings.Join(rest, ", ")
}

func atBy(at, who string) string {
	s := ""
	if at != "" {
		s = " on " + minuteOf(at)
	}
	return s + tail(" by ", who)
}

func (t *receivePage) command(rest string) string {
	return "platewright receive " + t.x.Order + " " + rest
}

// check writes what one thing is, and what to look at.
func (t *receivePage) check(c *goods.Check) {
	name := []span{say(glued(string(c.Part))).in(strong), say(tail(", ", c.Name))}
	l := t.line(c.Line)
	var of *goods.Line
	if l != nil {
		of = &l.Line
	}
	if c.Do != goods.Came {
		t.done(c, of, name)
		return
	}
	switch c.Verdict {
	case goods.Right:
		t.put(0, 2, append([]span{say("RIGHT: ").in(good)}, name...)...)
	case goods.Serves:
		t.put(0, 2, append([]span{say("SERVES: ").in(good)}, name...)...)
		t.put(2, 2, sayf("%s was ordered; this one serves for it.", glued(string(c.Ordered))))
		if c.Unit != nil && c.Unit.Verdict != resolve.Fits {
			t.put(2, 2, say("Whether it fits this unit is not settled: ").in(warn), sayf("platewright fits %s PLATE", glued(string(c.Part))))
		}
		if c.Unit != nil {
			for _, r := range c.Unit.Against {
				t.put(2, 2, say(capital(Sentence(r))).in(warn))
			}
		}
	case goods.ComesWith:
		t.put(0, 2, append([]span{say("COMES ALONG: ").in(good)}, name...)...)
	default:
		t.put(0, 2, append([]span{say("WRONG: ").in(alert)}, name...)...)
		t.put(2, 2, sayf("%s of it, and it was not ordered.", piecesOf(c.Qty, nil)))
	}
	if o := c.On; o != nil {
		on := glued(o.Order) + " to " + o.Name + ", line " + strconv.Itoa(o.Line)
		number := shellNumber(string(c.Part))
		if o.Open > 0 {
			t.put(2, 2, sayf("It is on %s.", on).in(strong), sayf(" Book it there: platewright receive %s %s, and take it off here: %s", o.Order, number, t.command("--correct "+number+"=0 --because TEXT")))
		} else {
			t.put(2, 2, sayf("It is on %s too, where all of it is here.", on))
		}
	}
	if c.By != nil && c.By.By != goods.ByPart {
		t.put(2, 2, say(glued(c.Given)+" "+meaningText(c.By)).in(muted))
	}
	if l != nil {
		t.put(2, 2, say(lineCount(c, l)))
	}
	t.expect(2, c.Expect)
	for _, n := range c.Needs {
		t.need(n)
	}
	if c.Fit != nil {
		t.fit(c.Part, c.Fit)
		if c.On == nil || c.On.Open == 0 {
			t.put(2, 2, say("Send it back: ").in(strong), say(t.command("--return "+shellNumber(string(c.Part))+" --because TEXT")))
		}
	}
	if c.More > 0 {
		t.put(2, 2, sayf("%d more than ordered. Send them back, or keep them: ", c.More).in(warn), say(t.command("--keep "+shellNumber(string(c.Part))+" --because TEXT")))
	}
}

// shellNumber quotes a number that a shell would take apart.
func shellNumber(s string) string {
	if strings.ContainsAny(s, " '\"$&;<>|()*?[]#~`\\!") {
		return "'" + strings.ReplaceAll(s, "'", `'\''`) + "'"
	}
	return s
}

func lineCount(c *goods.Check, l *goods.LineState) string {
	s := piecesOf(c.Qty, &l.Line) + " for line " + strconv.Itoa(c.Line)
	s += ": " + strconv.Itoa(l.Here) + " of " + strconv.Itoa(l.Wanted) + " here"
	if c.Open > 0 {
		s += ", " + strconv.Itoa(c.Open) + " short"
	}
	if c.Complete {
		s += "; the line is complete"
	}
	return s
}

func meaningText(m *goods.Meaning) string {
	switch m.By {
	case goods.ByStock:
		return "is the supplier's stock number of it."
	case goods.ByElse:
		return "is a stock number of " + m.Supplier + ", which is not the supplier of this order."
	case goods.ByNote:
		return "stands for it by a confirmed note of the shop (" + m.Note + ")."
	}
	return "is another number of it" + tail(" (", orBracket(m.Who)) + "."
}

// done writes what was done with something that is here.
func (t *receivePage) done(c *goods.Check, of *goods.Line, name []span) {
	head, st := "", good
	switch c.Do {
	case goods.Looked:
		head = "LOOKED AT: "
	case goods.Odd:
		head, st = "LOOKS OTHERWISE: ", alert
	case goods.Returned:
		head, st = "GOES BACK: ", strong
	case goods.Kept:
		head, st = "STAYS HERE: ", strong
	case goods.Corrected:
		head, st = "PUT RIGHT: ", strong
	}
	t.put(0, 2, append([]span{say(head).in(st)}, name...)...)
	if c.Do == goods.Corrected {
		diff := strconv.Itoa(c.Qty)
		if c.Qty > 0 {
			diff = "+" + diff
		}
		t.put(2, 2, sayf("%s; %d here now", diff, c.Here))
		return
	}
	s := piecesOf(c.Qty, of)
	if c.Do == goods.Returned || c.Do == goods.Kept {
		s += "; " + strconv.Itoa(c.Here) + " here now"
		if c.Open > 0 {
			s += ", " + strconv.Itoa(c.Open) + " open"
		}
	}
	t.put(2, 2, say(s+tail(", seen: ", c.Saw)))
	if c.Do == goods.Odd {
		if l := t.line(c.Line); l != nil {
			t.expect(2, l.Expect)
		}
		t.put(2, 2, say("Read its number again. The line stays open until it goes back, or was looked at again."))
	}
}

// expect writes what is to be seen.
func (t *receivePage) expect(in int, es []goods.Expect) {
	for _, e := range es {
		other := glued(string(e.Other))
		switch e.Kind {
		case goods.ExpectLook:
			t.put(in, 2, say("Look: ").in(strong), say(e.Text))
		case goods.ExpectRemark:
			t.put(in, 2, say("Known: ").in(strong), say(e.Text))
		case goods.ExpectReplaces:
			t.put(in, 2, say("Differs from "+other).in(strong), say(", in whose place it comes"+tail(" since ", e.Since)+tail(": ", e.Text)))
		case goods.ExpectExchange:
			t.put(in, 2, say("Can differ from "+other).in(strong), say(": either serves for the other"+tail("; ", e.Text)))
		case goods.ExpectPiece:
			t.put(in, 2, say("One of several").in(strong), say(" that replace "+other+" together"+tail("; ", e.Text)))
		case goods.ExpectCompanion:
			t.put(in, 2, say("Comes with "+other).in(strong), say(tail(": ", e.Text)))
		case goods.ExpectNot:
			t.put(in, 2, say("Not "+other).in(strong), say(tail(", ", e.Name)+", which "+glued(string(e.Variant))+" takes, easily taken for this unit"+tail("; that looks: ", e.Text)).in(muted))
		case goods.ExpectNote:
			st := strong
			if e.State == catalog.NoteConfirmed {
				st = warn
			}
			t.put(in, 2, sayf("Note (%s): ", e.State).in(st), say(e.Text))
		case goods.ExpectCaution:
			t.put(in, 2, say("Caution: ").in(warn), say(e.Text+tail(" ", e.Defer)))
		}
	}
}

func (t *receivePage) need(n goods.Companion) {
	what := strconv.Itoa(n.Qty) + string(glue) + "×" + string(glue) + glued(string(n.Part)) + tail(", ", n.Name)
	switch n.Where {
	case goods.OnOrder:
		t.put(2, 2, say("Needs "+what+": it is on this order").in(good), say(tail("; ", n.Why)))
	case goods.Arrived:
		t.put(2, 2, say("Needs "+what+": it is here").in(good), say(tail("; ", n.Why)))
	case goods.OnShelf:
		t.put(2, 2, say("Needs "+what+": take it from the shelf").in(good), say(tail(", ", n.Place)+tail("; ", n.Why)))
	default:
		t.put(2, 2, say("NEEDS "+what+", which is neither here nor ordered").in(alert), say(tail(": ", n.Why)))
	}
}

// fit writes what a part is for that was not ordered.
func (t *receivePage) fit(part catalog.PartNo, f *goods.Fit) {
	if a := f.Unit; a != nil {
		switch a.Verdict {
		case resolve.Fits:
			t.put(2, 2, say("It fits this unit all the same").in(warn), say(asRoles(a.Roles, resolve.Fits)+", but it was not ordered: ask before it goes in."))
			for _, r := range a.Against {
				t.put(4, 2, say(capital(Sentence(r))).in(warn))
			}
		case resolve.DoesNotFit:
			t.put(2, 2, say("It does not fit this unit").in(alert), say(asRoles(a.Roles, resolve.DoesNotFit)+insteadOf(a.Roles)+"."))
		default:
			t.put(2, 2, say("Whether it fits this unit is not settled.").in(warn))
		}
	}
	for _, k := range f.Like {
		s := "Perhaps meant for line " + strconv.Itoa(k.Line) + ", " + glued(string(k.Part)) + ": "
		switch k.Why {
		case goods.LookAlikeTakes:
			s += glued(string(k.Variant)) + ", a look-alike of this unit, takes it as " + plainCode(k.Role)
		case goods.ReplacedBy:
			s += "that one replaces it, and it does not serve in the place of that one"
		case goods.PieceOf:
			s += "it replaces that only together with others"
		case goods.InTheKit:
			s += "it is in that kit"
		case goods.OneSlip:
			s += "the numbers are one slip apart"
		default:
			s += "it is for the same role, " + plainCode(k.Role)
		}
		t.put(2, 2, say(s))
	}
	if len(f.Serves) == 0 {
		if f.Unit == nil || f.Unit.Verdict != resolve.Fits {
			t.put(2, 2, say("The catalogue does not say what it fits.").in(muted))
		}
		return
	}
	roles := []string{}
	by := map[string][]string{}
	for _, u := range f.Serves {
		name := orWord(u.Name, plainCode(u.Role))
		if !slices.Contains(roles, name) {
			roles = append(roles, name)
		}
		of := glued(u.Of)
		if u.Scope == catalog.FitFamily {
			of = "all " + of
		}
		by[name] = append(by[name], of)
	}
	for _, r := range roles {
		t.put(2, 2, say("It fits: ").in(strong), say(allOf(by[r])+" as "+r))
	}
	if more := f.Total - len(f.Serves); more > 0 {
		t.put(4, 2, sayf("and %d more: platewright where-used %s", more, shellNumber(string(part))).in(muted))
	}
}

func asRoles(rs []resolve.PartRole, v resolve.Verdict) string {
	var out []string
	for _, r := range rs {
		if r.Verdict == v {
			out = append(out, plainCode(r.Role))
		}
	}
	if len(out) == 0 {
		return ""
	}
	return " as " + allOf(out)
}

// insteadOf tells what the unit takes in the roles of a part that does not fit.
func insteadOf(rs []resolve.PartRole) string {
	var out []string
	for _, r := range rs {
		for _, l := range r.Instead {
			if len(l.Choices) > 0 {
				out = append(out, choiceText(l.Choices[0]))
			}
		}
	}
	if len(out) == 0 {
		return ""
	}
	return "; it takes " + strings.Join(out, "; ")
}

// standing writes what is open of an order; whole with what to look at.
func (t *receivePage) standing(whole bool) {
	x := t.x
	t.gap()
	open := 0
	for _, l := range x.Lines {
		if !l.Complete {
			open++
		}
	}
	foreign := 0
	for _, f := range x.Foreign {
		foreign += f.Here
	}
	head := "order " + x.Order + " from " + orWord(x.Name, x.Supplier)
	var rest []string
	if x.Card > 0 {
		rest = append(rest, "card "+strconv.Itoa(x.Card))
	}
	if x.Unit != "" {
		rest = append(rest, x.Unit)
	}
	switch {
	case x.Complete:
		t.put(0, 2, say("COMPLETE: ").in(good), say(head))
	case open == 0:
		t.put(0, 2, say("TO BE DECIDED: ").in(warn), sayf("%s; all lines are complete, and something is here that was not ordered", head))
	default:
		t.put(0, 2, say("OPEN: ").in(warn), sayf("%s; %d of %s open", head, open, counted(len(x.Lines), "line", "lines")))
	}
	if len(rest) > 0 {
		t.put(2, 2, say(strings.Join(rest, ", ")).in(muted))
	}
	for i := range x.Lines {
		l := &x.Lines[i]
		if l.Complete && !whole {
			continue
		}
		t.lineState(l, whole)
	}
	for _, f := range x.Foreign {
		if f.Here == 0 {
			if whole {
				t.put(2, 3, say("–  "+glued(string(f.Part))+tail(", ", f.Name)+": not ordered; "+goneText(&f.Pieces)).in(muted))
			}
			continue
		}
		t.put(2, 3, say("!  "+glued(string(f.Part))).in(strong), say(tail(", ", f.Name)+": "), sayf("%d here, not ordered", f.Here).in(alert))
	}
	if !whole {
		return
	}
	for i, r := range x.Receipts {
		if i == 0 {
			t.head(muted, "What was done")
		}
		t.put(2, 2, say(strings.TrimPrefix(atBy(r.At, r.Who), " on ")+": "+receiptText(&r)).in(muted))
	}
}

func goneText(p *goods.Pieces) string {
	var out []string
	if p.Returned > 0 {
		out = append(out, strconv.Itoa(p.Returned)+" went back")
	}
	if p.Kept > 0 {
		out = append(out, strconv.Itoa(p.Kept)+" stayed here")
	}
	return strings.Join(out, ", ")
}

func receiptText(r *goods.Receipt) string {
	var out []string
	for _, e := range r.Entries {
		s := strconv.Itoa(e.Qty) + string(glue) + "×" + string(glue) + glued(string(e.Part))
		switch e.Do {
		case goods.Came:
			s += " came"
		case goods.Looked:
			s += " looked at"
		case goods.Odd:
			s += " looks otherwise: " + e.Saw
		case goods.Returned:
			s += " went back"
		case goods.Kept:
			s += " stayed here"
		case goods.Corrected:
			s = "count of " + glued(string(e.Part)) + " put right by " + strconv.Itoa(e.Qty)
		}
		out = append(out, s)
	}
	s := strings.Join(out, ", ")
	if r.DeliveryNote != "" {
		s += "; delivery note " + glued(r.DeliveryNote)
	}
	return s + tail("; because: ", r.Because)
}

func lackWord(l *goods.LineState, k goods.Lack) string {
	switch k {
	case goods.Short:
		if l.Here == 0 {
			return "not here"
		}
		return strconv.Itoa(l.Open) + " short"
	case goods.TooMany:
		return strconv.Itoa(l.More) + " more than ordered"
	case goods.NotLooked:
		return strconv.Itoa(l.Unseen) + " not looked at"
	case goods.LooksOdd:
		return "looks otherwise"
	case goods.Alone:
		return "what must come along is missing"
	case goods.Unsettled:
		return "not settled whether what came in its place fits"
	}
	return string(k)
}

func (t *receivePage) lineState(l *goods.LineState, whole bool) {
	state, st := "complete", good
	if !l.Complete {
		var out []string
		for _, k := range l.Lacks {
			out = append(out, lackWord(l, k))
		}
		state, st = strings.Join(out, ", "), warn
	}
	number := glued(string(l.Part))
	if l.Stock != "" {
		number += " (" + glued(l.Stock) + ")"
	}
	t.put(2, 3, say(strconv.Itoa(l.Line.Line)+string(glue)+string(glue)), say(number).in(strong), say(tail(", ", l.Name)+": "), sayf("%d of %s; ", l.Here, piecesOf(l.Wanted, &l.Line)), say(state).in(st))
	for _, p := range l.Pieces {
		switch {
		case p.As == goods.AsServes && p.Here > 0:
			t.put(5, 2, sayf("%d × %s came in its place", p.Here, glued(string(p.Part))))
		case p.As == goods.AsCompanion && p.Here > 0:
			t.put(5, 2, sayf("%d × %s came along", p.Here, glued(string(p.Part))))
		}
		if p.Odd > 0 {
			t.put(5, 2, say("seen: ").in(alert), say(p.Saw))
		}
		if g := goneText(&p); g != "" {
			t.put(5, 2, say(g).in(muted))
		}
	}
	if !l.Complete {
		for _, n := range l.Companions {
			if n.Where == goods.NotThere {
				t.need(n)
			}
		}
	}
	if whole && !l.Complete {
		t.expect(5, l.Expect)
	}
}

// ReceiveHeading is the heading of an order at goods-in as CSV.
const ReceiveHeading = "order,supplier,line,stock,part,name,wanted,here,open,more,unseen,state,lacks,seen,look\r\n"

// AppendReceiveCSV appends the lines of an order at goods-in as records of RFC 4180,
// then what came and was not ordered, with an empty line number. Codes are guarded as
// in [AppendOrderCSV].
func AppendReceiveCSV(dst []byte, x *goods.State) []byte {
	look := func(es []goods.Expect) string {
		for _, e := range es {
			if e.Kind == goods.ExpectLook {
				return e.Text
			}
		}
		return ""
	}
	for _, l := range x.Lines {
		var lacks, saw []string
		for _, k := range l.Lacks {
			lacks = append(lacks, string(k))
		}
		for _, p := range l.Pieces {
			if p.Odd > 0 {
				saw = append(saw, p.Saw)
			}
		}
		state := "open"
		if l.Complete {
			state = "complete"
		}
		row := csvRow{dst: dst}
		row.cells(x.Order, GuardCode(x.Supplier), strconv.Itoa(l.Line.Line), GuardCode(l.Stock), GuardCode(string(l.Part)), l.Name,
			strconv.Itoa(l.Wanted), strconv.Itoa(l.Here), strconv.Itoa(l.Open), strconv.Itoa(l.More), strconv.Itoa(l.Unseen), state, strings.Join(lacks, " "), strings.Join(saw, "; "), look(l.Expect))
		dst = append(row.dst, "\r\n"...)
	}
	for _, f := range x.Foreign {
		state := "not-ordered"
		if f.Here == 0 {
			state = "decided"
		}
		row := csvRow{dst: dst}
		row.cells(x.Order, GuardCode(x.Supplier), "", "", GuardCode(string(f.Part)), f.Name,
			"0", strconv.Itoa(f.Here), "0", strconv.Itoa(f.Here), strconv.Itoa(f.Here), state, "", f.Saw, f.Look)
		dst = append(row.dst, "\r\n"...)
	}
	return dst
}
