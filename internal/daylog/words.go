package daylog

import (
	"math"
	"strconv"
	"strings"

	"duskline/internal/roofplan"
)

// List joins words as one says them: "a, b and c".
func List(words []string) string {
	if n := len(words); n > 1 {
		return strings.Join(words[:n-1], ", ") + " and " + words[n-1]
	}
	return strings.Join(words, "")
}

// SayName gives the name of an edge, or of a seam's end, as one says it: 5@north
// is 5 north.
func SayName(name string) string { return strings.Replace(name, "@", " ", 1) }

// SayNames lists names as one says them.
func SayNames(names []string) string {
	said := make([]string, len(names))
	for i, name := range names {
		said[i] = SayName(name)
	}
	return List(said)
}

// number prints a value without needless zeros, to three decimals at most.
func number(v float64) string {
	s := strconv.FormatFloat(v, 'f', 3, 64)
	return strings.TrimSuffix(strings.TrimRight(s, "0"), ".")
}

// Count says how many: "1 cover", "3 covers".
func Count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.Itoa(n) + " " + many
}

// tenth rounds an area or weight to the precision it is printed with, before
// it meets a limit: machines differ in the last bits.
func tenth(v float64) float64 { return math.Round(v*10) / 10 }

// say joins the parts of what an entry says that are there: "drains clear,
// blocked D2".
func say(parts ...string) string {
	said := parts[:0:0]
	for _, p := range parts {
		if p != "" {
			said = append(said, p)
		}
	}
	return strings.Join(said, ", ")
}

// when gives words where something is so.
func when(is bool, words string) string {
	if is {
		return words
	}
	return ""
}

// after gives words with what they are about behind them; "" without it.
func after(words, what string) string {
	if what == "" {
		return ""
	}
	return words + " " + what
}

// lead is after for a list.
func lead(words string, names []string) string { return after(words, List(names)) }

// squareFeet prints an area; "" for none.
func squareFeet(v float64) string {
	if v == 0 {
		return ""
	}
	return number(v) + " sq ft"
}

// long prints a length; "" for none.
func long(l roofplan.Length) string {
	if l == 0 {
		return ""
	}
	return l.String()
}

// options are answers that read as they are kept.
func options(values ...string) []Option {
	out := make([]Option, len(values))
	for i, v := range values {
		out[i] = Option{v, strings.ToUpper(v[:1]) + v[1:]}
	}
	return out
}
