// Package daylog holds what a crew writes down and what follows from it.
//
// The truth of a job is a set of entries, each kept for ever as the bytes its
// device wrote. Fold turns such a set into a Job: its days, and the roof as it
// stands after each of them. Nothing outside the entries' own bytes changes
// what Fold returns, so every copy that holds the same entries shows the same
// roof and the same days.
//
// The package is pure: no clock, no network, no files, no time zones. Who
// writes an entry resolves local times to instants first.
package daylog
