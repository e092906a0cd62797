// Package exchange moves entries between two logs, a tablet's and the
// server's. Each says how far it holds each stream, and sends what the other
// lacks as the bytes it is. There is no other cursor: a log that was put back
// to an earlier state says so by its heads, and gets everything back from any
// other that holds it, streams of third devices included.
//
// # A call
//
// A call is a POST of the tablet to /exchange with "Authorization: Bearer" and
// the tablet's key. Call and answer are messages of one form and have the
// content type of ContentType; an answer is one only with status 200, that
// content type and a whole message. Any other status may come with the header
// Duskline-Refused: 1 and then has the reason as its text; 429 and 503 with
// Retry-After.
//
// # A message
//
// A message is gzip, one member and nothing after it (the bytes themselves are
// compressed: there is no Content-Encoding). Inside are lines, each ended by a
// line feed:
//
//	{"device":"k3v9","build":"41","now":1791288000123,"jobs":["elm"]}
//	["job","elm"]
//	{"kind":"note","job":"elm","device":"k3v9","seq":12,...}
//	["end",{"count":1,"sum":"…","heads":{"elm":{"k3v9":{"seq":12,"head":"…"}}}}]
//
// The first line is an object, see hello; fields that are not known are passed
// over. The other lines that begin with [ are about the message; all others
// are entries, raw, of the job named last and of each stream in the order of
// seq. The last line is "end", see ending: the number of entries, the sum, and
// how far the sender holds each stream of each job of the call. The sum is
// SHA-256 over all bytes before the line it stands in, its first 16 bytes in
// base64url without padding; a message without entries needs none. In between
// there may be lines
//
//	["so far",200,"…"]
//
// with the number of entries and the sum at that point, after which the reader
// may keep what has come, whatever becomes of the rest. Other words than these
// are passed over. The limits are constants of this package.
//
// # What is said
//
// A tablet remembers what the server held last. If it holds the same, the call
// has a digest in the place of heads, and if the server does too, the answer
// has the same digest and nothing else:
//
//	{"device":"k3v9","build":"41","now":1791288000123,"jobs":["elm"],"digest":"…"}
//	["end",{}]
//
// Otherwise the answer gives the server's heads. A call with heads is answered
// with heads, as they are once the call's entries are durable, and with
// entries that the heads of the call do not show. The digest is SHA-256 over,
// for each job in the order of its bytes: the job, for each stream in the order
// of its bytes the stream, its seq in decimal and the 32 bytes of its head, and
// then an empty text; texts are written as their length in decimal, a colon and
// their bytes. Its first 16 bytes are written as those of the sum.
//
// What follows a reach of the other side is told by prev, which every entry
// carries: if the entry after that seq has another prev than the other side's
// head, or the same seq another head, then the device has forked and the two
// hold different lines of it. Then trails tell: points of each line, seq and
// prev of what follows, at every 64th seq and at the end. Each side sends its
// lines from the last point that is on the trail of the other.
//
// # What cannot be kept
//
// Where a log does not take an entry, the others go on: it is looked for by
// halves, kept raw aside, and named on both sides. What follows it on its
// stream is sent all the same and waits in the log.
package exchange
