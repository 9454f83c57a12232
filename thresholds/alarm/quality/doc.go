// Package quality measures the alarms themselves: how many there were for each nest and week, which came again and again, which went before
// anybody could come, which stood for days and which nobody ever answered. An alarm that is not worth the walk to the nest costs the next
// one its listener, so a keeper gets these numbers with what can be set or mended.
//
// An alarm is what calls for help: raised at warning or above, and no chore. It counts once from its beginning to its end, however often it
// grew worse in between. Notices and chores are counted apart.
//
// The figures that the numbers stand beside are those of the trade, as a vendor's article gives them; the standards that they come from are
// sold, and were not read. What is ours says so.
package quality
