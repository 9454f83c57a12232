// Package calls decides who is called about an alarm, when, and when again. It makes no words and sends nothing.
//
// A [Desk] is stepped once a poll, and once after each act of a person, with what changed on the panel (package alarm), what
// stands there, and the time that has passed. It answers with calls.
//
//   - Urgent calls at once, at any hour. A warning calls at once too; in the quiet hours only one that concerns heat, cold or what keeps
//     watch over them, and that begins or grows worse. Other warnings wait for the end of the quiet hours. Notices and chores wait for
//     the digest, once a day.
//   - An urgent alarm that nobody acknowledges is repeated, all of them in one call, and after some repeats the next contact is called as
//     well. A contact whose every way is down is passed over at once. Nothing else is ever said twice.
//   - The end is told to whoever was told of the beginning, unless a person has said that no call is wanted.
//   - More than a few calls within ten minutes become a storm: one call that says how many, which is worst and which came first; then
//     one every ten minutes that has something new, and the repeats of what is urgent. The first urgent alarm in it is told at once.
//   - Once a day, if wanted, a call that says how many nests are watched and how many are not: silence alone proves nothing.
//
// Repeats and storms go by the time that has passed, digests by the clock on the wall: one that leaps brings a digest early or once more, and
// loses nothing. What the Desk remembers is its [State]; stored together with the calls it led to, a restart neither loses nor repeats one.
package calls
