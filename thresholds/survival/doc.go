// Package survival counts what became of kits across litters, and says how sure the counts are.
//
// # What is counted
//
// A kit counts to the litter that raises it. The kits of a litter that entered a day are those born alive, and those fostered in up to that
// day, without those fostered out, sold or kept up to it. Days are local dates; the day of kindling is day 0; a day is counted at its end. A
// kit has lived to the day unless it was written down as lost up to it, or was missing when kits were counted, as they were collected or
// weaned: a kit that is not there and that nobody wrote of is taken for dead from that count on. Before it, it counts as alive, since nobody
// knows when it went, and the figure says how many such kits it has. Where nobody counted at weaning, the book's own number stands. Kits
// born dead never lived, and are counted apart.
//
// # Which litters count
//
// Whether a litter counts for a day must not hang on how it fared. So it counts for none, whatever is known of it, while
//
//   - nobody counted the kits it was born with;
//   - it had no kit to lose: all were born dead, or fostered out;
//   - it is too young: the day is not over. For weaning it is as old as the latest weaning in the book, within the days of
//     weaning: else litters that died would count at once, and those that live only weeks later;
//   - it was closed before the day, or before it was weaned, with kits left: weaned early, sold or given away whole. Nobody wrote what
//     became of them. A litter of which every kit is dead is closed by that and does count;
//   - it was forgotten: still open at an age of ten weeks, and its last entry lies before the day.
//
// Being moved or collected from a tote closes nothing: the kits go on living elsewhere, and losses are still entered. How many litters were
// left out for which reason stands beside each figure. One bias is left: a litter closed with kits left has lost some of its bad days.
//
// # Groups
//
// A litter's season is the one entered at its kindling; nest, kind of nest and bedding are those in which it was born, whatever came later.
// What nobody wrote down is a group of its own, with an empty name. Litters kindled from Since on and before Until count; a breeding without
// kindling counts by its own date. Conception counts breedings that were entered as such and came to a kindling or were closed as
// did-not-kindle, and nothing else: who enters only kindlings would seem never to fail.
//
// # How sure it is
//
// See clustered for kits and wilson for breedings; the interval of breedings takes them as unrelated, which those of one doe are not quite.
// No p-values are given. Two groups are said to differ only where their intervals stand apart after being widened for the number of groups, so
// that of many nests the best and the worst do not differ by having been picked out.
package survival
