// Package past tells what held in one nest between two instants, and what happened there: the limits as they changed with the kits' age, and marks
// for a graph.
//
// Of's limits are those of the tables in force now, laid over the days of the litters that lay in the nest by the book as it stands now. So what has
// been corrected since counts as corrected, and limits that were changed since count as changed: it is what nestmon would have judged by, knowing what
// is known today. They do not depend on the season, which only changes how long a value must stay beyond them. A litter of which only the day of birth
// is known is taken to be born as that day began.
//
// Marks are as many as a screen can show, the most important first. What was left out is counted.
package past
