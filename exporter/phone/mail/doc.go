// Package mail brings alarms to people by mail: one message, one connection to the keeper's mail server (SMTP, RFC 5321), and nothing
// kept open.
//
// Plain words go out: the title is the subject, the body is plain text, and where a message can be answered the address stands on a line
// of its own. The Message-ID is made from the message's id, so that a repetition can be recognised, and all that is said of one alarm
// refers to one thread. What is urgent is marked so, and nothing else is. Auto-Submitted (RFC 3834) keeps holiday notices from answering.
//
// The connection is encrypted before anything is said on it, and the server's certificate is checked; only a server on this machine may
// be spoken to in the open. A send takes at most 15 s, however the server spends them.
//
// What comes back decides:
//
//	2xx at the end of the message        delivered
//	4xx, or no answer                    tried again
//	5xx at login, sender or recipient    tried again, and shown as set up wrongly: the message waits for a person to mend it
//	5xx at the end of the message        refused for good, unless it is about a mailbox or the sender
//
// Of several recipients those the server takes get the message at once. One that was put off is tried again alone; one that was refused
// makes the message count as refused, with who has it and who has not, and is not tried again: the others would get it twice. Who has a
// message is remembered until the program ends; a restart between two tries may bring it to somebody twice, under the same Message-ID.
//
// The password comes from a file alone. Neither it nor the address of an answer shows in an error, whatever the server repeats.
package mail
