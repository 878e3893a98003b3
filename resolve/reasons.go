package resolve

// The codes of reasons. Each screen has its words for every one of them; a test
// walks the list.
const (
	// ReasonStated: a fit statement names Part for the role.
	ReasonStated Code = "stated"
	// ReasonStatedAgainst: a fit statement says that Part does not fit; it
	// beats every statement that it does.
	ReasonStatedAgainst Code = "stated-against"
	// ReasonTakesNone: a statement says that the unit takes nothing in the role.
	ReasonTakesNone Code = "takes-none"
	// ReasonNoStatement: the catalogue says nothing about Variant in the role.
	ReasonNoStatement Code = "no-statement"
	// ReasonPositionUnfilled: every part stated for Position is ruled out.
	ReasonPositionUnfilled Code = "position-unfilled"
	// ReasonReplaced: Part is replaced by Other, one way.
	ReasonReplaced Code = "replaced"
	// ReasonInterchange: Part and Other serve for each other.
	ReasonInterchange Code = "interchange"
	// ReasonSplit: Part is replaced by Other among others, all of them together.
	ReasonSplit Code = "split"
	// ReasonCompanion: Part must come along with Other.
	ReasonCompanion Code = "companion"
	// ReasonCompanionAgainst: Part should come along with Other, but a
	// statement says that it does not fit here.
	ReasonCompanionAgainst Code = "companion-against"
	// ReasonSold: Part is sold.
	ReasonSold Code = "sold"
	// ReasonEnded: Part is not sold any more and nothing that serves for it is.
	ReasonEnded Code = "ended"
	// ReasonFill: a fill row asks for Spec.
	ReasonFill Code = "fill"
	// ReasonMeets: the fluid Part meets Spec, by approval or by its maker's own
	// claim (Value).
	ReasonMeets Code = "meets"
	// ReasonServes: a fluid of OtherSpec serves where Spec is asked for.
	ReasonServes Code = "serves"
	// ReasonNoFluid: no fluid that is sold meets Spec, save what its data sheet
	// belies.
	ReasonNoFluid Code = "no-fluid"
	// ReasonSheetOffLimits: the fluid Part is said to meet Spec, and the figure
	// Column of its data sheet, the row named, is Value, which lies outside the
	// limits of Spec, Shows: the least and the most, either empty for none.
	ReasonSheetOffLimits Code = "sheet-off-limits"
	// ReasonAllAgree: every remaining candidate (Count of them) takes the same.
	ReasonAllAgree Code = "all-agree"
	// ReasonDiffer: the remaining candidates take different things.
	ReasonDiffer Code = "differ"
	// ReasonSomeUnstated: for some remaining candidates (Count of them) the
	// catalogue says nothing.
	ReasonSomeUnstated Code = "some-unstated"
	// ReasonConditionOpen: what Variant takes depends on something not known
	// yet: a mark (Mark), the serial number or the build date (Value says which).
	ReasonConditionOpen Code = "condition-open"
	// ReasonNoCandidates: nothing that was read or seen leaves a variant.
	ReasonNoCandidates Code = "no-candidates"
	// ReasonTooMany: more variants are possible (Count) than are worked through.
	ReasonTooMany Code = "too-many"
	// ReasonConflict: evidence about Assembly contradicts itself.
	ReasonConflict Code = "conflict"
	// ReasonAsBuilt: nothing was read or seen on Assembly; it is assumed to be
	// the one that the unit was built with.
	ReasonAsBuilt Code = "as-built"
	// ReasonMarkExcludes: Mark was found to be Value, and Variant shows Shows.
	ReasonMarkExcludes Code = "mark-excludes"
	// ReasonReadingExcludes: what was read of Assembly does not allow Variant.
	ReasonReadingExcludes Code = "reading-excludes"
	// ReasonCheckGuards: the check character was read and agrees; one misread
	// would have made it fail.
	ReasonCheckGuards Code = "check-guards"
	// ReasonNoteAgainst: a confirmed note says that Part did not fit.
	ReasonNoteAgainst Code = "note-against"
	// ReasonBySlip: what was read of Assembly names something only if there is a
	// slip in it; nothing is ordered by that.
	ReasonBySlip Code = "by-slip"
	// ReasonNotSettled: the role is not settled.
	ReasonNotSettled Code = "not-settled"
	// ReasonNotBuyable: nothing that serves is sold any more.
	ReasonNotBuyable Code = "not-buyable"
	// ReasonVolumeUnknown: the catalogue gives no volume for the scope of work.
	ReasonVolumeUnknown Code = "volume-unknown"
	// ReleaseCheck: look at the next check (Mark, or Value for serial, built,
	// character).
	ReleaseCheck Code = "release-check"
	// ReleaseConflict: look again at the statements that contradict each other.
	ReleaseConflict Code = "release-conflict"
	// ReleaseStatement: the catalogue needs a statement for Variant in the role.
	ReleaseStatement Code = "release-statement"
	// ReleaseNote: the note (Row) is withdrawn, or the line is filled with Other.
	ReleaseNote Code = "release-note"
	// ReleaseSource: find another source for Part, or a repair of the old one.
	ReleaseSource Code = "release-source"
	// ReleaseReading: read the plate or label again.
	ReleaseReading Code = "release-reading"
	// ReasonUnknownPart: nothing in the catalogue goes by the number (Value).
	ReasonUnknownPart Code = "unknown-part"
	// ReasonGoesBy: the number asked for (Value) is another number of Part.
	ReasonGoesBy Code = "goes-by"
	// ReasonInKit: Part is in the kit Other, which fits; a kit can hold pieces
	// that this unit does not need.
	ReasonInKit Code = "in-kit"
	// ReasonOtherFits: the role is settled on Other.
	ReasonOtherFits Code = "other-fits"
	// ReasonAliasOpen: that the number (Value) stands for Part is said by a note
	// of the shop (Row) that nobody has confirmed.
	ReasonAliasOpen Code = "alias-open"
	// ReasonCorrected: a confirmed note of the shop corrects Column of the row
	// from Shows to Value.
	ReasonCorrected Code = "corrected"
)

// Codes lists every code of a [Reason].
var Codes = []Code{ReasonStated, ReasonStatedAgainst, ReasonTakesNone, ReasonNoStatement, ReasonPositionUnfilled,
	ReasonReplaced, ReasonInterchange, ReasonSplit, ReasonCompanion, ReasonCompanionAgainst, ReasonSold, ReasonEnded, ReasonFill,
	ReasonMeets, ReasonServes, ReasonNoFluid, ReasonSheetOffLimits, ReasonAllAgree, ReasonDiffer, ReasonSomeUnstated, ReasonConditionOpen, ReasonNoCandidates,
	ReasonTooMany, ReasonConflict, ReasonAsBuilt, ReasonMarkExcludes, ReasonReadingExcludes, ReasonCheckGuards, ReasonBySlip, ReasonNoteAgainst,
	ReasonNotSettled, ReasonNotBuyable, ReasonVolumeUnknown, ReleaseCheck, ReleaseConflict, ReleaseStatement, ReleaseNote,
	ReleaseSource, ReleaseReading, ReasonUnknownPart, ReasonGoesBy, ReasonInKit, ReasonOtherFits, ReasonAliasOpen, ReasonCorrected}
