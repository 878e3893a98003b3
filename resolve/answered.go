package resolve

import (
	"slices"
	"strconv"
	"strings"

	"platewright/catalog"
	"platewright/resolve/plate"
)

// Answered gives the question with what a check found: a value of the mark, a
// serial number, a date, the character of a reading, the whole reading. An empty
// text says that nothing could be made out. The question itself is not changed;
// the error is a [*QuestionError] for what cannot be such a find. Whether the
// catalogue knows it is for Decide to say.
func (q Question) Answered(n *NextCheck, found string) (Question, error) {
	found = strings.TrimSpace(found)
	bad := func(err error) (Question, error) {
		return q, &QuestionError{Part: string(n.Kind), Value: found, Reason: NotReadable, Err: err}
	}
	if found == "" {
		if !slices.ContainsFunc(q.CannotSee, func(id string) bool { return catalog.Fold(id) == catalog.Fold(n.ID) }) {
			q.CannotSee = append(slices.Clone(q.CannotSee), n.ID)
		}
		return q, nil
	}
	var err error
	switch n.Kind {
	case CheckMark:
		q.Saw = append(slices.Clone(q.Saw), Observation{n.Mark, found})
	case CheckSerial:
		if q.Serial, err = catalog.ParseSerial(found); err != nil {
			return bad(err)
		}
	case CheckBuilt:
		if q.Built, err = catalog.ParseDate(found); err != nil {
			return bad(err)
		}
	case CheckCharacter, CheckReading:
		label, text := q.textOf(n.Reading)
		if text == "" {
			return bad(nil)
		}
		sure, doubt := "", AnySlip
		if n.Kind == CheckReading {
			if _, err := plate.ParseReading(found); err != nil {
				return bad(err)
			}
			sure = found
		} else {
			key := catalog.Fold(found)
			filled, ok := "", false
			if len(key) == 1 {
				filled, ok = plate.FillPlace(text, n.Place, key[0])
			}
			if !ok {
				return bad(nil)
			}
			sure, doubt = filled, strconv.Itoa(n.Place)
		}
		if label == 0 {
			q.Plate = sure
		} else {
			q.Labels = slices.Clone(q.Labels)
			q.Labels[label-1] = sure
		}
		q.Doubt = slices.DeleteFunc(slices.Clone(q.Doubt), func(w string) bool {
			if !strings.EqualFold(w[strings.LastIndexByte(w, ':')+1:], doubt) {
				return false
			}
			one := q
			one.Doubt = []string{w}
			at, err := one.doubtsOf(label)
			return err == nil && len(at) == 1
		})
		if n.Kind == CheckReading {
			// Places are others in another text.
			q.Doubt = slices.DeleteFunc(q.Doubt, func(w string) bool {
				one := q
				one.Doubt = []string{w}
				at, err := one.doubtsOf(label)
				return err == nil && len(at) == 1
			})
		}
	}
	return q, nil
}

// textOf finds the plate, 0, or label, 1 for the first, whose canonical text a
// check names. Where answers to a plan have altered it since, it is the one of
// that length that has most places as they were.
func (q *Question) textOf(reading string) (label int, text string) {
	want, err := plate.ParseReading(reading)
	if err != nil {
		return 0, ""
	}
	best := -1
	try := func(n int, t string) {
		rd, err := plate.ParseReading(t)
		if err != nil || len(rd) != len(want) {
			return
		}
		same := 0
		for i := range rd {
			if rd[i] == want[i] {
				same++
			}
		}
		if same > best {
			best, label, text = same, n, t
		}
	}
	if q.Plate != "" {
		try(0, q.Plate)
	}
	for i, l := range q.Labels {
		try(i+1, l)
	}
	return label, text
}
