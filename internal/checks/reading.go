package checks

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"duskline/internal/daylog"
)

// verdict is what written times come to against a limit.
type verdict int

const (
	kept   verdict = iota // by the times as written: silence
	asked                 // broken as written, kept by the most favourable reading
	broken                // by every reading
)

// waited judges a wait that must last at least limit, from one moment to a
// later one, and gives it as written. It works on instants, so a clock change
// between them does not matter. Waits are rounded to the whole minutes they
// are printed in before they meet the limit.
func waited(from, to daylog.When, limit time.Duration) (verdict, time.Duration) {
	seen := to.At.Sub(from.At).Round(time.Minute)
	switch {
	case seen >= limit:
		return kept, seen
	case to.Latest().Sub(from.Earliest()).Round(time.Minute) >= limit:
		return asked, seen
	}
	return broken, seen
}

// duration prints whole minutes as "2 h 35 min".
func duration(d time.Duration) string {
	m := int(d.Round(time.Minute) / time.Minute)
	sign := ""
	if m < 0 {
		sign, m = "-", -m
	}
	h, m := m/60, m%60
	switch {
	case h == 0:
		return fmt.Sprintf("%s%d min", sign, m)
	case m == 0:
		return fmt.Sprintf("%s%d h", sign, h)
	}
	return fmt.Sprintf("%s%d h %d min", sign, h, m)
}

// when prints a moment as the job's clock shows it, with what is not sure of
// it: "15:45", "about 15:45".
func (s *Situation) when(w daylog.When) string {
	if w.About > 0 {
		return "about " + s.Clock(w.At)
	}
	return s.Clock(w.At)
}

// tenth rounds to the precision that areas and feet are printed with, before
// they meet a limit: machines differ in the last bits.
func tenth(v float64) float64 { return math.Round(v*10) / 10 }

// number prints a value without needless zeros, thousands apart: "4,809.6".
func number(v float64) string {
	text := strconv.FormatFloat(tenth(math.Abs(v)), 'f', -1, 64)
	whole, part, _ := strings.Cut(text, ".")
	for i := len(whole) - 3; i > 0; i -= 3 {
		whole = whole[:i] + "," + whole[i:]
	}
	if part != "" {
		whole += "." + part
	}
	if v < 0 && whole != "0" {
		return "-" + whole
	}
	return whole
}

// feet prints a part of a seam: "38 to 100 ft".
func feet(p daylog.Part) string {
	return number(p.From.Feet()) + " to " + number(p.To.Feet()) + " ft"
}

// span is the part of a key that names a part of a seam: "38-100".
func span(p daylog.Part) string { return number(p.From.Feet()) + "-" + number(p.To.Feet()) }

// upper writes the first letter large.
func upper(text string) string {
	if text == "" {
		return ""
	}
	return strings.ToUpper(text[:1]) + text[1:]
}
