// Package yearstest invents two years of a rabbitry and tells them as its keeper would write them down, with the truth beside it.
//
// A Story is a list of Steps in the order of time: does are bred, feel pregnant or not, get a nest, kindle or do not; kits die, are
// fostered, weighed, moved, collected from totes, weaned and sold; nests are carried indoors in frost. The keeper writes most of it the same
// evening, some of it days later, some of it wrongly and corrects it, and now and then types what cannot be true. Truth is what really
// was, counted by this package alone: it shares no code with the litter book, and counts days as numbers from the first.
//
// Everything here is invented, names and losses too. What is drawn from published figures says so where it is drawn.
package yearstest
