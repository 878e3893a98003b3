package goods

// Standing says in short how an order stands, as its receipts alone tell it.
type Standing struct {
	Lines    int  `json:"lines"`    // of the order
	Came     int  `json:"came"`     // lines of which something is here
	Short    int  `json:"short"`    // lines of which something has not come
	Unseen   bool `json:"unseen"`   // something that counts for a line was not looked at
	Odd      bool `json:"odd"`      // something looks otherwise
	More     bool `json:"more"`     // more is here than was ordered
	Serves   bool `json:"serves"`   // something is here in the place of what was ordered
	Foreign  bool `json:"foreign"`  // something is here that was not ordered
	Complete bool `json:"complete"` // all of it is here, and nothing is left to be decided
}

// Arrived tells whether all that was ordered is here, settled or not.
func (s *Standing) Arrived() bool { return s.Complete || s.Short == 0 }

// StandingOf gives how an order stands with its receipts, the oldest first.
// Complete is what the last of them says of it. Unlike a [Desk] it needs no
// catalogue: what is left to be done at a part is known from that alone only as
// far as it was counted.
func StandingOf(o *Order, done []Receipt, complete bool) Standing {
	t := newTally(o, done)
	s := Standing{Lines: len(o.Lines), Complete: complete}
	for i := range o.Lines {
		l := &o.Lines[i]
		here := t.here(l.Line)
		if here > 0 {
			s.Came++
		}
		if here < l.Wanted {
			s.Short++
		}
		s.More = s.More || here > l.Wanted
		for _, p := range *t.at(l.Line) {
			s.Odd = s.Odd || p.Odd > 0
			s.Serves = s.Serves || p.As == AsServes && p.Here > 0
			s.Unseen = s.Unseen || !complete && p.unseen() > 0
		}
	}
	for _, p := range t.foreign {
		s.Foreign = s.Foreign || p.Here > 0
	}
	return s
}
