// Package report writes what a [review.Review] found: one page of HTML to look at or to print, and text for a terminal.
//
// The page stands alone. Its style is in it, it needs no script and asks for no other file, so that it can be kept, mailed and printed; it fits
// one sheet of A4 or letter, eight weeks with many losses too. Its trace is drawn here as SVG, told apart without colour, with the same as a table
// beside it on the screen. Temperatures are in the keeper's scale, limits in both.
//
// All text goes through html/template: whatever somebody called a doe is shown as it was written.
package report
