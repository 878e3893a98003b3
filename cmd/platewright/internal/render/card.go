package render

import (
	"io"
	"strconv"
	"strings"

	"platewright/catalog/shop"
	"platewright/resolve"
	"platewright/resolve/goods"
)

// Names of the forms of the answers about job cards as JSON.
const (
	CardSchema          = "platewright/card/1"
	CardsSchema         = "platewright/cards/1"
	CardsAffectedSchema = "platewright/cards-affected/1"
)

// CardAnswer is a card with what was done to it. The card's revision is the one
// to name with the next change.
type CardAnswer struct {
	Schema   string            `json:"schema"`
	Did      string            `json:"did"` // opened, decided, noted, measured, closed, reopened, shown
	Card     *shop.Card        `json:"card"`
	Decision *resolve.Decision `json:"decision,omitempty"` // when it was decided or is shown
	Events   []shop.Event      `json:"events"`             // when it is shown: its history
	Standing Standing          `json:"standing"`           // how its orders stand
	Also     []int             `json:"also,omitempty"`     // when it was opened: open cards on which the same was read
	History  bool              `json:"-"`                  // tell the history in the text
	Why      bool              `json:"-"`                  // show the proofs in the text
}

// Cards lists job cards.
type Cards struct {
	Schema   string       `json:"schema"`
	Cards    []*shop.Card `json:"cards"`
	Total    int          `json:"total"`    // how many there are, listed or not
	Standing Standing     `json:"standing"` // how their orders stand
}

// Standing tells how orders stand, by their number.
type Standing map[string]goods.Standing

// CardsAffected lists the cards that would be decided differently now.
type CardsAffected struct {
	Schema  string          `json:"schema"`
	Edition resolve.Edition `json:"edition"` // on which they were decided again
	Checked int             `json:"checked"` // cards that were decided again
	Cards   []AffectedCard  `json:"cards"`
}

// AffectedCard is a card that would be decided differently now.
type AffectedCard struct {
	Card       *shop.Card         `json:"card"`
	Difference resolve.Difference `json:"difference"`
	Orders     []AffectedOrder    `json:"orders"`           // that are not complete and hold lines that would not be ordered now
	Standing   Standing           `json:"standing"`         // how all its orders stand
	Cannot     string             `json:"cannot,omitempty"` // why its question cannot be asked any more
}

// AffectedOrder is an order of which lines would not be ordered now.
type AffectedOrder struct {
	Order    string         `json:"order"`
	Supplier string         `json:"supplier"`
	Standing goods.Standing `json:"standing"` // what is here of it
	Lines    []AffectedLine `json:"lines"`
}

// AffectedLine is a line of an order with how it stands now.
type AffectedLine struct {
	shop.Ordered
	Now resolve.Stand `json:"now"`
}

func (p *page) cardLine(c *shop.Card, stand Standing) {
	st, word := good, "open"
	if c.State == shop.CardDone {
		st, word = muted, "closed"
	}
	p.put(0, 4, sayf("Card%c%d", glue, c.Number).in(strong), say(" "), say(word).in(st), say(" "+c.Unit+tail(" (", orBracket(c.Ref))))
	work := ""
	if len(c.Work) > 0 {
		work = plainCode(strings.Join(c.Work, ", ")) + "; "
	}
	p.put(4, 2, say(work+"decided on "+cardEdition(c.Edition)))
	for _, o := range c.Orders {
		s := stand[o.Order]
		p.put(4, 2, sayf("order %s to %s, %s: %s", o.Order, o.Supplier, counted(s.Lines, "line", "lines"), StandingText(&s)))
	}
	if c.Because != "" {
		p.put(4, 2, say("closed because: "+c.Because))
	}
	p.put(4, 2, sayf("opened %s by %s; last %s by %s; revision %d", minute(c.Opened), c.By, minute(c.Last), c.LastBy, c.Revision).in(muted))
}

func orBracket(s string) string {
	if s == "" {
		return ""
	}
	return s + ")"
}

func cardEdition(e shop.Edition) string {
	return edition(resolve.Edition{Name: e.Name, Number: e.Number})
}

// CardText writes a card with what was done to it.
func CardText(w io.Writer, x CardAnswer, s Screen) error {
	p := newPage(s)
	words := map[string]string{"opened": "Opened", "decided": "Decided again", "noted": "Noted", "measured": "Written down", "closed": "Closed", "reopened": "Open again"}
	if head := words[x.Did]; head != "" {
		p.put(0, 2, say(head+".").in(good))
	}
	p.cardLine(x.Card, x.Standing)
	for _, n := range x.Also {
		p.put(4, 2, sayf("Card %d is open with the same plate. ", n).in(warn), sayf("If it is the same unit, go on there, and close this one: platewright card close %d", x.Card.Number))
	}
	if x.Did == "shown" {
		p.cardFindings(x)
	}
	if x.History {
		p.head(strong, "HISTORY")
		for i, e := range x.Events {
			p.put(2, 4, sayf("%d. ", i+1).in(strong), say(minute(e.At)+" "+e.Who+": "+plainCode(strings.TrimPrefix(string(e.Kind), "card-"))+tail(" ", happened(e))))
		}
	}
	if _, err := w.Write(p.buf.Bytes()); err != nil {
		return err
	}
	if x.Decision == nil {
		return nil
	}
	if _, err := io.WriteString(w, "\n"); err != nil {
		return err
	}
	return DecisionText(w, x.Decision, s, x.Why)
}

// cardFindings writes what was noted and measured on a unit.
func (p *page) cardFindings(x CardAnswer) {
	for _, e := range x.Events {
		if e.Kind == shop.CardNoted || e.Kind == shop.CardMeasured {
			word := ""
			if e.Kind == shop.CardMeasured {
				word = "measured: "
			}
			p.put(4, 2, say(word+happened(e)), say(" ("+e.Who+", "+minute(e.At)+")").in(muted))
		}
	}
}

// happened says what an event of a card carries.
func happened(e shop.Event) string {
	switch e.Kind {
	case shop.CardOpened, shop.CardDecided:
		if b, err := shop.Body[shop.DecidedBody](e); err == nil {
			return b.Unit + ", on " + cardEdition(b.Edition)
		}
	case shop.CardNoted:
		if b, err := shop.Body[shop.TextBody](e); err == nil {
			return b.Text
		}
	case shop.CardMeasured:
		if b, err := shop.Body[shop.MeasuredBody](e); err == nil {
			var out []string
			for _, m := range b.Measured {
				out = append(out, m.Name+" "+m.Value)
			}
			return strings.Join(out, ", ")
		}
	case shop.CardOrdered:
		if b, err := shop.Body[shop.OrderedBody](e); err == nil {
			s := b.Order + " to " + b.Supplier
			for _, h := range b.Held {
				s += "; " + plainCode(h.Role) + " although held: " + h.Because
			}
			return s
		}
	case shop.CardReceived:
		if b, err := shop.Body[shop.ReceivedBody](e); err == nil {
			if b.Complete {
				return b.Order + ", complete"
			}
			return b.Order + ", in part"
		}
	case shop.CardClosed, shop.CardReopened:
		if b, err := shop.Body[shop.BecauseBody](e); err == nil {
			return b.Because
		}
	}
	return ""
}

// CardsText lists cards.
func CardsText(w io.Writer, cs Cards, s Screen) error {
	p := newPage(s)
	for _, c := range cs.Cards {
		p.cardLine(c, cs.Standing)
	}
	switch {
	case cs.Total == 0:
		p.put(0, 2, say("There is no card yet. Open one with: platewright card new"))
	case len(cs.Cards) < cs.Total:
		p.put(0, 2, sayf("%d of %d cards are listed.", len(cs.Cards), cs.Total).in(muted))
	}
	_, err := w.Write(p.buf.Bytes())
	return err
}

// CardsAffectedText lists the cards that would be decided differently now.
func CardsAffectedText(w io.Writer, x CardsAffected, s Screen) error {
	p := newPage(s)
	p.demoRemark(x.Edition)
	p.gap()
	if len(x.Cards) == 0 {
		p.put(0, 2, sayf("%s decided again: all come out as before.", counted(x.Checked, "card", "cards")).in(good))
		p.editionFoot(x.Edition)
		_, err := w.Write(p.buf.Bytes())
		return err
	}
	p.put(0, 2, sayf("%d of %s would be decided differently now.", len(x.Cards), counted(x.Checked, "card", "cards")).in(alert))
	for _, c := range x.Cards {
		p.gap()
		p.cardLine(c.Card, c.Standing)
		if c.Cannot != "" {
			p.put(4, 2, say("cannot be asked any more: ").in(alert), say(c.Cannot))
		}
		for _, a := range c.Difference.Assemblies {
			p.put(4, 4, say(capitalWord(plainCode(a.Assembly))+": ").in(strong), say(orWord(allOf(a.Before), "no variant")+" before, "+orWord(allOf(a.After), "no variant")+" now"))
		}
		for _, r := range c.Difference.Roles {
			p.put(4, 4, say(capitalWord(orWord(r.Name, plainCode(r.Role)))+": ").in(strong), say(standsText(r.Before)+" before, "+standsText(r.After)+" now"))
			p.reasons("now: ", r.Come)
			p.reasons("no longer: ", r.Gone)
		}
		for _, o := range c.Orders {
			p.put(4, 2, sayf("Order %s to %s is %s, and would not be placed so now:", o.Order, o.Supplier, StandingText(&o.Standing)).in(alert))
			for _, l := range o.Lines {
				p.put(6, 4, say(plainCode(l.Role)+tail(" at ", l.Position)+": "+glued(string(l.Part))+" was ordered; now "+standsText([]resolve.Stand{l.Now})))
			}
		}
		p.put(4, 2, sayf("take it over: platewright card edit %d", c.Card.Number).in(muted))
	}
	p.editionFoot(x.Edition)
	_, err := w.Write(p.buf.Bytes())
	return err
}

// mostReasons is how many reasons of one sort a text shows.
const mostReasons = 4

func (p *page) reasons(word string, rs []resolve.Reason) {
	for _, r := range rs[:min(len(rs), mostReasons)] {
		p.put(8, 2, say(word+proofLine(r)).in(muted))
	}
	if more := len(rs) - mostReasons; more > 0 {
		p.put(8, 2, sayf("and %d more", more).in(muted))
	}
}

// standsText says how the lines of a role stand.
func standsText(list []resolve.Stand) string {
	var out []string
	for _, s := range list {
		text := ""
		switch s.Verdict {
		case resolve.NotSettled:
			text = "not settled"
		case resolve.DoesNotFit:
			text = "nothing fits"
		default:
			var items []string
			for _, it := range append(append([]resolve.TakenItem{}, s.Items...), s.Companions...) {
				if it.Litres.Known {
					items = append(items, it.Litres.String()+string(glue)+"l of "+glued(string(it.Part)))
				} else {
					items = append(items, strconv.Itoa(it.Qty)+string(glue)+"×"+string(glue)+glued(string(it.Part)))
				}
			}
			text = strings.Join(items, " + ")
			if !s.Safe {
				text += " (held)"
			}
		}
		if s.Position != "" {
			text = s.Position + ": " + text
		}
		out = append(out, text)
	}
	if len(out) == 0 {
		return "not asked"
	}
	return strings.Join(out, "; ")
}
