// Package script is the text form of a day: one line, one act, in the words of
// the trade. Examples of rules, worked days, the demo and benchmarks are
// written in it.
package script
