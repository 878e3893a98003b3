// Package torque turns a fastener's torque into settings of a wrench.
//
// A torque is converted by the exact factors of package measure and rounded to the
// steps of a wrench's scale. The setting is the step nearest to the torque; where
// even that lies beyond the fastener's tolerance, no setting of this scale does it
// right, and the answer says so instead of rounding further. A torque without a
// tolerance is rounded too, and the answer says by how much it is off.
//
// What lives here: settings, the judging of a torque that somebody names for a
// fastener, rules of thumb beside the exact figure. What must not: how a catalogue
// is read, words for a screen.
package torque
