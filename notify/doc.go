// Package notify turns briefs into mail and brings the mail to the relay.
//
// The path of one mail:
//
//	outbox row (coldseam.OutboxMessage, payload = Content)
//	  -> Composer.Compose   lines -> text, HTML, chart parts -> signed bytes
//	  -> Sender             claim, dial, MAIL, RCPT, in_data, DATA, dot, outcome
//	mail that comes back
//	  -> Inbox (LMTP, mailbox file), Tokens.ReadReport -> Report -> the store's rules
//
// One set of lines (lines.go, facts.go, stops.go) feeds the text part, the HTML
// part, the pages and the terminal, so that no two of them can disagree. What a verdict may print is
// decided there and nowhere else: STOP and NO CALL never reach the code that
// prints odds.
package notify
