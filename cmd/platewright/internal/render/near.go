package render

import (
	"strconv"

	"platewright/catalog"
	"platewright/resolve"
	"platewright/resolve/plate"
)

// rejection says what the check of a reading would have had to be.
func (t *decisionPage) rejection(r resolve.Reading) {
	for _, j := range r.Rejected {
		text := "As " + glued(j.Text) + " (" + j.Layout + "): "
		switch {
		case len(j.Expected) > 0:
			text += "the field " + j.Field + " reads " + j.Read + ", it would have to be " + anyOf(j.Expected) + "."
		default:
			text += "no character that is still open makes the field " + j.Field + " right."
		}
		t.put(2, 2, say(text))
	}
}

// mismatch says where the layouts that came furthest break off.
func (t *decisionPage) mismatch(r resolve.Reading) {
	for _, f := range r.Furthest {
		t.put(2, 2, say("As "+f.Layout+": "+failure(f)+"."))
	}
}

// takenFor asks back where what was read looks like something that could stand
// at the place.
func takenFor(f plate.Failure) string {
	if f.Read == nil || f.Want == nil {
		return ""
	}
	c, ok := f.Read.One()
	if !ok {
		return ""
	}
	for w := range f.Want.All() {
		if plate.Confusable(c, w) {
			return ", which looks like " + string(w)
		}
	}
	return ""
}

func failure(f plate.Failure) string {
	at := "at place " + strconv.Itoa(f.Place)
	field := ""
	if f.Field != "" {
		field = " (field " + f.Field + ")"
	}
	switch f.Reason {
	case plate.TooShort:
		return "it ends " + at + ", where " + want(f) + " should follow" + field + "; write ? for each character that you do not have"
	case plate.TooLongFor:
		return "it should end before place " + strconv.Itoa(f.Place)
	case plate.NoSuchDate:
		return f.Text + " " + at + " is no date that can be" + field
	}
	read := "what is read"
	if f.Read != nil {
		read = f.Read.String()
	}
	return at + field + " stands " + read + takenFor(f) + ", but " + want(f) + " should stand there"
}

func want(f plate.Failure) string {
	switch {
	case f.Kind == catalog.FieldDigits:
		return "a digit"
	case f.Kind == catalog.FieldLetters:
		return "a letter"
	case f.Kind == catalog.FieldAlphanum:
		return "a letter or a digit"
	case f.Want != nil:
		return f.Want.String()
	}
	return "something else"
}

// near names a plate that the reading would be with one slip put right.
func (t *decisionPage) near(n resolve.NearReading, of int) {
	share := ""
	if of > 1 {
		share = percent(n.Share)
	}
	t.put(4, 4, say(glued(n.Text)).in(strong), say(tail(", ", share)+", "+slip(n.NearReading)+tail(": ", t.someOf(n.Variants, len(n.Variants)))))
}

// slip says what one slip would have been.
func slip(n plate.NearReading) string {
	at := " at place " + strconv.Itoa(n.Place)
	switch n.Kind {
	case plate.Misread:
		return "if " + n.Read + at + " is " + n.Would
	case plate.Swapped:
		return "if " + n.Read + at + " is " + n.Would + ", two neighbours swapped"
	case plate.Dropped:
		return "if " + n.Would + at + " was left out"
	case plate.Doubled:
		return "if " + n.Read + at + " was written twice"
	}
	return string(n.Kind) + at
}

// neighbour says by which slip two variants can be taken for each other.
func neighbour(n plate.Neighbour) string {
	at := "character " + strconv.Itoa(n.Place) + " of the code"
	switch n.Kind {
	case plate.Misread:
		return at + " is easily taken for another"
	case plate.Swapped:
		return at + " and the one after it swapped"
	case plate.Dropped:
		return at + " left out"
	case plate.Doubled:
		return at + " written twice"
	}
	return string(n.Kind) + " at " + at
}
