package render

import (
	"fmt"
	"io"
	"strings"

	"platewright/index"
	"platewright/resolve"
)

// SearchSchema names the form of [Search] as JSON.
const SearchSchema = "platewright/search/1"

// Search is what a search found, and in which catalogue.
type Search struct {
	Schema  string          `json:"schema"`
	Edition resolve.Edition `json:"edition"`
	index.Result
}

// kindHeads are the headings over hits of a kind, and the word for counting them.
var kindHeads = map[index.Kind][3]string{
	index.KindPart:    {"PARTS", "part", "parts"},
	index.KindKit:     {"KITS AND SETS", "kit or set", "kits and sets"},
	index.KindNumber:  {"OTHER NUMBERS", "other number", "other numbers"},
	index.KindStock:   {"SUPPLIERS' NUMBERS", "supplier's number", "suppliers' numbers"},
	index.KindVariant: {"VARIANTS", "variant", "variants"},
	index.KindFamily:  {"FAMILIES", "family", "families"},
	index.KindWork:    {"SCOPES OF WORK", "scope of work", "scopes of work"},
	index.KindMark:    {"MARKS", "mark", "marks"},
	index.KindSpec:    {"FLUID SPECIFICATIONS", "fluid specification", "fluid specifications"},
	index.KindSource:  {"SOURCES", "source", "sources"},
	index.KindNote:    {"NOTES", "note", "notes"},
}

// SearchText writes what a search found, hits of a kind together.
func SearchText(w io.Writer, s *Search, screen Screen) error {
	p := newPage(screen)
	p.demoRemark(s.Edition)
	p.gap()
	asked := strings.Join(strings.Fields(visible(s.Query.Text)), " ")
	total := counted(s.Total, "hit", "hits")
	if s.More {
		total = fmt.Sprintf("more than %d hits", s.Total)
	}
	switch {
	case s.Total == 0 && asked == "":
		p.put(0, 2, say("Nothing belongs to that.").in(warn))
	case s.Total == 0:
		p.put(0, 2, say("Nothing was found").in(warn), say(" for: "+asked))
	case asked == "":
		p.put(0, 2, say(total).in(strong))
	default:
		p.put(0, 2, say(total).in(strong), say(" for: "+asked))
	}
	p.readWords(s.Words, s.Total)
	if len(s.Hits) == 0 && s.Total > 0 {
		p.put(2, 2, sayf("There is no such page: the hits end before it."))
	}
	var order []index.Kind
	byKind := map[index.Kind][]index.Hit{}
	for _, h := range s.Hits {
		if byKind[h.Kind] == nil {
			order = append(order, h.Kind)
		}
		byKind[h.Kind] = append(byKind[h.Kind], h)
	}
	for _, k := range order {
		p.head(strong, "%s", kindHeads[k][0])
		for _, h := range byKind[k] {
			p.hit(h)
		}
	}
	p.facets(s)
	switch s.Index.How {
	case index.FromRebuilt:
		p.gap()
		p.put(0, 2, sayf("The search index was made anew first: %s.", s.Index.Why).in(muted))
	case index.FromReading:
		if s.Index.Why != "" {
			p.gap()
			p.put(0, 2, say("! ").in(warn), sayf("Answered by reading the whole catalogue through, without the search index: %s.", s.Index.Why))
		}
	}
	p.editionFoot(s.Edition)
	_, err := w.Write(p.buf.Bytes())
	return err
}

// readWords says where a word was taken for another.
func (p *page) readWords(words []index.Word, total int) {
	for _, w := range words {
		text := "“" + visible(w.Text) + "”"
		switch {
		case w.Kind == index.WordUnmet:
			p.put(2, 2, say("! ").in(warn), sayf("%s is found nowhere.", text))
		case w.Misread:
			p.put(2, 2, say("! ").in(warn), sayf("No number holds %s; taken for %s, since letters and digits look alike.", text, anyOf(w.Read)))
		case w.Kind == index.WordNumber && len(w.Read) > 0:
			p.put(2, 2, say("! ").in(warn), sayf("No number holds %s; one typing error away: %s.", text, anyOf(w.Read)))
		case len(w.Read) > 0:
			p.put(2, 2, say("! ").in(warn), sayf("%s stands in no text; taken for %s.", text, anyOf(w.Read)))
		case len(w.Also) > 0:
			p.put(2, 2, sayf("%s: also %s.", text, anyOf(w.Also)).in(muted))
		}
	}
}

// hit writes one thing found: what it is, why it was found, what to do next.
func (p *page) hit(h index.Hit) {
	ss := []span{say(glued(h.Code)).in(strong)}
	fields := h.Fields
	number := index.Field{}
	if len(fields) > 0 && fields[0].Name == "number" {
		number, fields = fields[0], fields[1:]
	}
	switch {
	case h.Kind == index.KindNote:
		ss = []span{say(notedOn(h)).in(strong)}
		if h.State != "" {
			ss = append(ss, say(" ("+h.State+")"))
		}
		fields = without(fields, "about")
	case len(fields) > 0 && fields[0].Name == "name":
		ss = append(ss, say(", "))
		ss = append(ss, matched(fields[0])...)
		fields = fields[1:]
	}
	if h.Of != "" && h.Kind != index.KindNote {
		ss = append(ss, say(" = "+glued(h.Of)))
	}
	if h.Count > 1 {
		ss = append(ss, sayf(" and %d more variants of this description", h.Count-1))
	}
	p.put(2, 4, ss...)
	if why := anchored(h, number); why != "" {
		p.put(6, 2, say(why))
	}
	for _, f := range fields {
		p.put(6, 2, append([]span{say(f.Name + ": ")}, matched(f)...)...)
	}
	if len(h.Missing) > 0 {
		p.put(6, 2, say("without: "+strings.Join(h.Missing, ", ")).in(muted))
	}
	if len(h.Next) > 0 {
		p.put(6, 2, say("→ platewright"+string(glue)+command(h.Next)).in(muted))
	}
}

func without(fields []index.Field, name string) []index.Field {
	var out []index.Field
	for _, f := range fields {
		if f.Name != name {
			out = append(out, f)
		}
	}
	return out
}

func notedOn(h index.Hit) string {
	if h.OfKind == "" {
		return h.Of
	}
	return "on the " + plainCode(h.OfKind) + " " + glued(h.Of)
}

// anchored says where in its number a hit holds what was asked for.
func anchored(h index.Hit, number index.Field) string {
	if h.Exact || len(number.Spans) == 0 {
		if h.Anchor == index.AnchorNear {
			return "one typing error away"
		}
		return ""
	}
	s := number.Spans[len(number.Spans)-1]
	piece := number.Text[s.From:s.To]
	switch h.Anchor {
	case index.AnchorLeading:
		return "begins with " + piece
	case index.AnchorTrailing:
		return "ends in " + piece
	case index.AnchorInner:
		return "holds " + piece
	}
	return ""
}

// matched gives a text with what matched in another style. The words that lack
// are said, so that nothing hangs on the style.
func matched(f index.Field) []span {
	var out []span
	at := 0
	for _, s := range f.Spans {
		out = append(out, say(f.Text[at:s.From]), say(f.Text[s.From:s.To]).in(good))
		at = s.To
	}
	out = append(out, say(f.Text[at:]))
	if f.Cut {
		out = append(out, say(" …"))
	}
	return out
}

// mostValues is how many values of a facet are listed.
const mostValues = 6

// facets says what the hits belong to and how to see fewer or others of them.
func (p *page) facets(s *Search) {
	if s.Total > len(s.Hits) {
		p.head(strong, "%s", "TO SEE OTHERS")
		for _, f := range s.Facets {
			if len(f.Values) < 2 {
				continue
			}
			var list []string
			for i, v := range f.Values {
				if i == mostValues {
					list = append(list, "…")
					break
				}
				list = append(list, fmt.Sprintf("%s%s(%d)", glued(visible(v.Value)), string(glue), v.Count))
			}
			p.put(2, 4, say("--"+f.Name+": ").in(strong), say(strings.Join(list, ", ")))
		}
		if next := s.Query.Offset + s.Query.Limit; next < s.Total && s.Query.Limit > 0 {
			p.put(2, 4, say("next page: ").in(strong), sayf("--page %d", next/s.Query.Limit+1))
		}
	}
}

// command puts arguments together as a person types them.
func command(args []string) string {
	out := make([]string, len(args))
	for i, a := range args {
		out[i] = shellQuoted(a)
	}
	return strings.Join(out, " ")
}

// shellQuoted puts an argument into quotes where the shell would take it apart.
func shellQuoted(s string) string {
	plain := s != ""
	for _, r := range s {
		if !(r >= '0' && r <= '9' || r >= 'A' && r <= 'Z' || r >= 'a' && r <= 'z' || strings.ContainsRune("-_./:=+,%@", r)) {
			plain = false
		}
	}
	if plain {
		return s
	}
	return "'" + strings.ReplaceAll(glued(s), "'", `'\''`) + "'"
}
