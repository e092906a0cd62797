package daylog

import (
	"crypto/sha256"
	"encoding/base32"
	"fmt"
	"slices"
	"strings"
)

// CheckCode stands for the bytes of a day's entries that a signature covers:
// SHA-256 over the job and the day, each with a line's end, and for each entry
// a line of its device, its seq in 20 digits and the hex SHA-256 of its bytes,
// in the order of these lines. Answers to the tool's own questions (asked) are
// no part of the record. 20 characters of base32 (100 bits) in groups of
// five, as printed on the day summary.
func CheckCode(job string, day *Day, s Signature, forks []Branch) string {
	covered := cover(s.Vector, forks)
	var rows []string
	for _, l := range day.Lines {
		for _, e := range l.Members() {
			if covered.holds(e) {
				hash := Hash(e.raw)
				rows = append(rows, fmt.Sprintf("%s %020d %x\n", e.Device, e.Seq, hash[:]))
			}
		}
	}
	slices.Sort(rows)
	sum := sha256.Sum256([]byte(job + "\n" + string(day.Date) + "\n" + strings.Join(rows, "")))
	code := base32.StdEncoding.EncodeToString(sum[:])[:20]
	return code[:5] + "-" + code[5:10] + "-" + code[10:15] + "-" + code[15:]
}

// Members gives every entry of the line.
func (l *Line) Members() []*Entry {
	all := append(slices.Clone(l.Past), l.Entry)
	if l.Struck != nil && l.Struck != l.Entry {
		all = append(all, l.Struck)
	}
	return all
}
