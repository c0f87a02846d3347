// Package deliver carries notices to people: at least once, in order for each person and channel, and written down before and
// after each try.
//
// A reader needs three things: Worker takes queued notices, finds who is to be told by which channel and when, and sends what
// is due; a message keeps its id in every repeat, and a repeat says so; and a channel that fails raises an alarm, in the log,
// in the metrics and through the other channels. Channels are the packages below: mail, webhook, outbox.
package deliver
