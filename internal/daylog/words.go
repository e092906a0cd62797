package daylog

import (
	"math"
	"strconv"
	"strings"
)

// list joins words as one says them: "a, b and c".
func list(words []string) string {
	switch n := len(words); n {
	case 0:
		return ""
	case 1:
		return words[0]
	default:
		return strings.Join(words[:n-1], ", ") + " and " + words[n-1]
	}
}

// number prints a value without needless zeros, to three decimals at most.
func number(v float64) string {
	s := strconv.FormatFloat(v, 'f', 3, 64)
	return strings.TrimSuffix(strings.TrimRight(s, "0"), ".")
}

func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.Itoa(n) + " " + many
}

// tenth rounds an area or weight to the precision it is printed with, before
// it meets a limit: machines differ in the last bits.
func tenth(v float64) float64 { return math.Round(v*10) / 10 }
