package roofplan

import (
	"fmt"
	"sort"
	"strings"
)

// CompareNames orders panel names as people count: 7, 7A, 8, 10. Capitals and
// leading zeros decide only between names that are otherwise alike.
func CompareNames(a, b string) int {
	x, y := a, b
	for x != "" && y != "" {
		if isDigit(x[0]) && isDigit(y[0]) {
			var m, n string
			m, x = digits(x)
			n, y = digits(y)
			if len(m) != len(n) {
				return sign(len(m) - len(n))
			}
			if c := strings.Compare(m, n); c != 0 {
				return c
			}
			continue
		}
		if c := sign(int(lower(x[0])) - int(lower(y[0]))); c != 0 {
			return c
		}
		x, y = x[1:], y[1:]
	}
	if c := sign(len(x) - len(y)); c != 0 {
		return c
	}
	return strings.Compare(a, b)
}

// digits cuts a number off the front of s and drops its leading zeros.
func digits(s string) (number, rest string) {
	i := 0
	for i < len(s) && isDigit(s[i]) {
		i++
	}
	return strings.TrimLeft(s[:i], "0"), s[i:]
}

func isDigit(c byte) bool { return c >= '0' && c <= '9' }

func lower(c byte) byte {
	if c >= 'A' && c <= 'Z' {
		return c + 'a' - 'A'
	}
	return c
}

func sign[N int | int64](n N) int {
	switch {
	case n < 0:
		return -1
	case n > 0:
		return 1
	}
	return 0
}

// SeamName joins the names of two panels, lower number first: 7|8.
func SeamName(a, b string) string {
	if CompareNames(a, b) > 0 {
		a, b = b, a
	}
	return a + "|" + b
}

// JointName joins the names of panels that meet, in order: 7|8|12.
func JointName(panels ...string) string {
	names := append([]string(nil), panels...)
	sort.Slice(names, func(i, j int) bool { return CompareNames(names[i], names[j]) < 0 })
	return strings.Join(names, "|")
}

// numbered tells places of one name apart: the first keeps the plain name,
// the next is "name 2". seen counts what was named so far.
func numbered(name string, seen map[string]int) string {
	seen[name]++
	if n := seen[name]; n > 1 {
		return fmt.Sprintf("%s %d", name, n)
	}
	return name
}

// checkPanelName refuses what would blur the names built from it: they are
// joined by | and @, and a number behind a space tells two of a kind apart.
func checkPanelName(name string) error {
	if name == "" {
		return fmt.Errorf("has no name")
	}
	if len(name) > 16 {
		return fmt.Errorf("has a name of more than 16 characters")
	}
	for _, r := range name {
		if !isLetter(r) && !(r >= '0' && r <= '9') && r != '-' && r != '.' {
			return fmt.Errorf("has %s in its name; use letters, digits, dots and dashes", shown(string(r)))
		}
	}
	return nil
}

func checkEdgeName(name string) error {
	if len(name) > 40 {
		return fmt.Errorf("has a name of more than 40 characters")
	}
	words := strings.Split(name, " ")
	for _, w := range words {
		if w == "" {
			return fmt.Errorf("has a space too many in its name")
		}
		for _, r := range w {
			if !isLetter(r) && !(r >= '0' && r <= '9') && !strings.ContainsRune("-.,'/", r) {
				return fmt.Errorf("has %s in its name; use letters, digits and spaces", shown(string(r)))
			}
		}
	}
	if last := words[len(words)-1]; len(words) > 1 && strings.Trim(last, "0123456789") == "" {
		return fmt.Errorf("has a number as the last word of its name; write it together, as in wall-2")
	}
	return nil
}

// isLetter knows the letters of the languages written in Latin script.
func isLetter(r rune) bool {
	return r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= 0xc0 && r <= 0x24f && r != 0xd7 && r != 0xf7
}
