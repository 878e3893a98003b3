package render

import (
	"fmt"
	"strconv"
	"strings"

	"platewright/catalog"
	"platewright/resolve"
	"platewright/resolve/measure/fluid"
)

// Sentence says a reason in words, without a full stop. It is "" for a code
// that it does not know.
func Sentence(r resolve.Reason) string {
	part, other := orWord(glued(string(r.Part)), "this part"), orWord(glued(string(r.Other)), "another part")
	spec, otherSpec := orWord(r.Spec, "this specification"), orWord(r.OtherSpec, "another specification")
	mark, value := orWord(plainCode(r.Mark), "a mark"), orWord(glued(r.Value), "something else")
	switch r.Code {
	case resolve.ReasonStated:
		return "the catalogue states " + orWord(glued(string(r.Part)), orWord(r.Spec, "a part")) + whom(r)
	case resolve.ReasonStatedAgainst:
		return "the catalogue states that " + part + " does not fit" + whom(r)
	case resolve.ReasonTakesNone:
		return "the catalogue states that nothing is taken here" + whom(r)
	case resolve.ReasonNoStatement:
		return "the catalogue says nothing" + whom(r)
	case resolve.ReasonPositionUnfilled:
		return "every part stated for " + orWord(r.Position, "this position") + " is ruled out"
	case resolve.ReasonReplaced:
		return part + " is replaced by " + other + since(r) + " (the new one serves for the old, not the reverse)"
	case resolve.ReasonInterchange:
		return part + " and " + other + " serve for each other" + since(r)
	case resolve.ReasonSplit:
		return part + " is replaced by several numbers together, " + other + " is one of them" + since(r)
	case resolve.ReasonCompanion:
		return part + " must come along with " + other
	case resolve.ReasonCompanionAgainst:
		return part + " should come along with " + other + ", but a statement says that it does not fit here"
	case resolve.ReasonSold:
		return part + " is sold"
	case resolve.ReasonEnded:
		return part + " is not sold any more, and nothing that is sold serves for it"
	case resolve.ReasonFill:
		return "the fluid asked for is " + spec + whom(r)
	case resolve.ReasonMeets:
		switch r.Value {
		case string(catalog.Approved):
			return part + " is approved for " + spec
		case string(catalog.Claimed):
			return part + " meets " + spec + " by its maker's own claim, without approval"
		}
		return part + " meets " + spec
	case resolve.ReasonServes:
		return "a fluid of " + otherSpec + " serves where " + spec + " is asked for"
	case resolve.ReasonNoFluid:
		return "no fluid that is sold meets " + spec
	case resolve.ReasonSheetOffLimits:
		s := part + " is said to meet " + spec + ", and its own data sheet belies it"
		if r.Column != "" && r.Value != "" {
			v, _ := catalog.ParseDecimal(r.Value)
			p := catalog.Property(r.Column)
			s += ": its " + PropertyName(p) + " is " + propertyValue(p, v)
			if len(r.Shows) == 2 {
				l := fluid.LimitCheck{Property: p}
				l.Least, _ = catalog.ParseDecimal(r.Shows[0])
				l.Most, _ = catalog.ParseDecimal(r.Shows[1])
				s += limitText(l)
			}
		}
		return s
	case resolve.ReasonAllAgree:
		if r.Count == 1 {
			return "only one variant is left, and this is what it takes"
		}
		if r.Count == 2 {
			return "both remaining variants take the same"
		}
		return "all " + strconv.Itoa(r.Count) + " remaining variants take the same"
	case resolve.ReasonDiffer:
		return "the remaining variants take different things"
	case resolve.ReasonSomeUnstated:
		return "for " + counted(r.Count, "remaining variant", "remaining variants") + " the catalogue says nothing"
	case resolve.ReasonConditionOpen:
		return "what " + orWord(string(r.Variant), "the unit") + " takes depends on " + openThing(r) + ", which is not known yet"
	case resolve.ReasonNoCandidates:
		return "nothing that was read or seen leaves a variant"
	case resolve.ReasonTooMany:
		return "too many variants are possible (" + strconv.Itoa(r.Count) + ") to work through"
	case resolve.ReasonConflict:
		return "what was read and seen of " + place(r.Assembly) + " contradicts itself"
	case resolve.ReasonAsBuilt:
		return "nothing was read or seen on " + place(r.Assembly) + "; it is assumed to be the one that the unit was built with"
	case resolve.ReasonMarkExcludes:
		s := mark + " was found to be " + value
		if len(r.Shows) > 0 {
			s += ", and " + orWord(string(r.Variant), "this one") + " shows " + anyOf(r.Shows)
		}
		return s
	case resolve.ReasonReadingExcludes:
		return "what was read of " + place(r.Assembly) + " does not allow " + orWord(string(r.Variant), "it")
	case resolve.ReasonCheckGuards:
		return "the check character was read and agrees; one misread would have made it fail"
	case resolve.ReasonBySlip:
		return "what was read of " + place(r.Assembly) + " names a variant only if there is a slip in it, and nobody has seen the slip"
	case resolve.ReasonNoteAgainst:
		return "a confirmed note of the shop says that " + part + " did not fit" + noteText(r)
	case resolve.ReasonNotSettled:
		return "it is not settled what is taken here"
	case resolve.ReasonNotBuyable:
		return "nothing that serves for " + part + " is sold any more"
	case resolve.ReasonVolumeUnknown:
		return "the catalogue gives no volume for this scope of work"
	case resolve.ReleaseCheck:
		return "look at " + openThing(r)
	case resolve.ReleaseConflict:
		return "look again at the statements that contradict each other"
	case resolve.ReleaseStatement:
		return "add a statement" + whom(r) + " to the catalogue, from a source that you trust"
	case resolve.ReleaseNote:
		s := "withdraw " + orWord(tail("the note ", r.Row), "the note") + " if it was wrong"
		if r.Other != "" {
			s += ", or fill the line with " + other
		}
		return s
	case resolve.ReleaseSource:
		return "find another source for " + part + ", or a repair of the old one"
	case resolve.ReleaseReading:
		return "read the plate or label again"
	case resolve.ReasonUnknownPart:
		return "nothing in the catalogue goes by the number " + value
	case resolve.ReasonGoesBy:
		if r.Table == catalog.TNotes {
			return "a note of the shop says that " + value + " stands for " + part
		}
		return value + " is another number of " + part
	case resolve.ReasonInKit:
		return part + " is in the kit " + other + ", which fits; that proves nothing by itself, since a kit can hold pieces that this unit does not need"
	case resolve.ReasonAliasOpen:
		return "that " + value + " stands for " + part + " is said only by a note of the shop that nobody has confirmed" + noteText(r)
	case resolve.ReasonCorrected:
		s := "a confirmed note of the shop corrects " + orWord(r.Column, "a cell") + " of this row"
		if r.Row != "" {
			s = "a confirmed note of the shop corrects " + orWord(r.Column, "a cell") + " of " + r.Table + " " + r.Row
		}
		return s + " from " + quoted(strings.Join(r.Shows, ", ")) + " to " + quoted(r.Value)
	case resolve.ReasonOtherFits:
		return "what " + orWord(string(r.Variant), "the unit") + " takes" + asRole(r) + " is " + orWord(glued(string(r.Other)), part)
	}
	return ""
}

// whom names the unit, role or position that a statement speaks of, as far as
// the reason says.
func whom(r resolve.Reason) string {
	s := ""
	if r.Role != "" {
		s += " as " + plainCode(r.Role)
	}
	if r.Position != "" {
		s += " at " + r.Position
	}
	if r.Variant != "" {
		s += " for " + glued(string(r.Variant))
	}
	return s
}

func asRole(r resolve.Reason) string {
	if r.Role == "" {
		return ""
	}
	return " as " + plainCode(r.Role)
}

func since(r resolve.Reason) string {
	if r.Since == "" {
		return ""
	}
	return " since " + r.Since
}

func noteText(r resolve.Reason) string {
	if r.Note == "" {
		return ""
	}
	return ": " + r.Note
}

// openThing names what is not known yet: a mark, the serial number, the build
// date, an unread character.
func openThing(r resolve.Reason) string {
	if r.Mark != "" {
		return "the mark " + r.Mark
	}
	switch r.Value {
	case string(resolve.CheckSerial):
		return "the serial number"
	case string(resolve.CheckBuilt):
		return "the build date"
	case string(resolve.CheckCharacter):
		return "the unread character of the plate or label"
	case "":
		return "the next check"
	}
	return r.Value
}

// plainCode turns the code of a role, an assembly or a mark into words.
func plainCode(code string) string { return strings.ReplaceAll(code, "-", " ") }

// place names an assembly within a sentence.
func place(assembly string) string {
	if assembly == "" {
		return "the unit"
	}
	return "the " + plainCode(assembly)
}

// glued keeps a number with spaces on one line.
func glued(s string) string { return strings.ReplaceAll(s, " ", string(glue)) }

func orWord(s, other string) string {
	if s == "" {
		return other
	}
	return s
}

func counted(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

func anyOf[S ~string](list []S) string { return joined(list, "or") }
func allOf[S ~string](list []S) string { return joined(list, "and") }

func joined[S ~string](list []S, word string) string {
	out := make([]string, len(list))
	for i, s := range list {
		out[i] = glued(string(s))
	}
	if len(out) < 2 {
		return strings.Join(out, "")
	}
	return strings.Join(out[:len(out)-1], ", ") + " " + word + " " + out[len(out)-1]
}

// capital gives a sentence its capital letter and full stop.
func capital(s string) string {
	if s == "" {
		return ""
	}
	if c := s[0]; 'a' <= c && c <= 'z' {
		s = string(c-'a'+'A') + s[1:]
	}
	switch s[len(s)-1] {
	case '.', '!', '?', ':':
		return s
	}
	return s + "."
}
