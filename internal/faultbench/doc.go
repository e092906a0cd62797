// Package faultbench puts tablets and a server through everything that can
// happen to a link, a tablet and a server, by schedules drawn from a seed, and
// checks afterwards what must hold whatever happened:
//
//   - every entry that was saved is on a tablet or on the server;
//   - every entry that a tablet called sent is on the server, byte for byte;
//   - nothing is there twice, and no stream has a gap below its head;
//   - all copies hold the same, fold it to the same roof and days, and raise the
//     same warnings;
//   - nothing is stuck: an hour's worth of exchanges without faults is enough.
//
// The server is a program of its own, killed by SIGKILL at chosen points and at
// random ones; the tablets' logs are files; between them lies a link that cuts,
// loses, doubles, delays, flips and answers for others. What happened is noted
// outside of both.
//
// Everything is in the tests: go test ./internal/faultbench runs 50 schedules,
// make soak a thousand. A schedule that fails prints its seed, and
// -first N -runs 1 goes through it again.
package faultbench
