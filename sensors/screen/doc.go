// Package screen is the one check every reading passes before anything is decided from it.
//
// It does two very different things. What cannot be true is rejected: the codes by which chips say that they measured
// nothing (85 °C, 127.94 °C, the pair of a damaged SHT4x), values no nest has ever had, and numbers that are no
// measurement. A rejected reading keeps its value for diagnosis and carries the reason; nothing may use it. What is merely
// odd (a jump faster than a nest and its probe can change, a value away from its neighbours, a value that stands still while
// the nest moves) is marked suspect and nothing else: a second reading that points the same way makes it true, and a step
// that persists is never thrown away, because a nest that catches fire looks like one.
//
// No test of single values finds two swapped cables: that takes nights, and is decided where the nests are.
//
// A probe's offset is added here and nowhere else: after the chip's own codes were looked for in what it said, before anything is
// judged by what that means. What the archive holds is corrected and must not be corrected again, nor searched for codes again: 24.5 °C of
// a probe that reads half a degree low is stored as 25, which is a code of some chips; see ApplyStored. A readings file may be raw or
// corrected; see ApplyRecorded. One that was corrected by an offset its configuration does not hold is searched as a raw one.
//
// Values are quantised to the step the archive keeps, so that the same decision can be made again from the archive. After
// New nothing is allocated. Sources of the limits stand beside them; "ours" means chosen by us and by nobody measured.
package screen
