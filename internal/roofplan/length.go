package roofplan

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Length is a distance in inches, kept in whole 64ths: exact in binary and,
// as a plain number of inches, in JSON.
type Length float64

// Unit is a unit of length as people write it.
type Unit string

const (
	Inch       Unit = "in"
	Foot       Unit = "ft"
	Metre      Unit = "m"
	Centimetre Unit = "cm"
	Millimetre Unit = "mm"
)

// perInch is how finely a Length is kept.
const perInch = 64

// Longest is the greatest length, and the greatest distance of any point from
// the plan's origin, that is taken for true. Within it every area is exact.
const Longest Length = 10_000 * 12

// Feet gives the length of ft feet, to the nearest 1/64 in.
func Feet(ft float64) Length { return Length(math.Round(ft*(12*perInch)) / perInch) }

// Inches gives the length of in inches, to the nearest 1/64 in.
func Inches(in float64) Length { return Length(math.Round(in*perInch) / perInch) }

// Feet gives the length in feet.
func (l Length) Feet() float64 { return float64(l) / 12 }

// String writes the length as the trade does: 41 ft, 4 ft 6 in, 1 1/2 in, 0 ft.
func (l Length) String() string {
	if !(math.Abs(float64(l)) <= farthest) {
		return "no length"
	}
	n := units(l)
	sign := ""
	if n < 0 {
		sign, n = "-", -n
	}
	ft, in, part := n/(12*perInch), n/perInch%12, n%perInch
	var words []string
	if ft > 0 || n == 0 {
		words = append(words, strconv.FormatInt(ft, 10)+" ft")
	}
	if in > 0 || part > 0 {
		var w []string
		if in > 0 {
			w = append(w, strconv.FormatInt(in, 10))
		}
		if part > 0 {
			den := int64(perInch)
			for part%2 == 0 {
				part, den = part/2, den/2
			}
			w = append(w, fmt.Sprintf("%d/%d", part, den))
		}
		words = append(words, strings.Join(w, " ")+" in")
	}
	return sign + strings.Join(words, " ")
}

// farthest bounds what units converts: beyond it, or without a number,
// machines differ in what they make of it.
const farthest = 1e12

// units counts the 64ths of an inch in l.
func units(l Length) int64 {
	if l != l {
		return 0
	}
	return int64(math.Round(float64(max(-farthest, min(l, farthest))) * perInch))
}

func fromUnits(n int64) Length { return Length(float64(n) / perInch) }

// ParseLength reads a length as a roofer writes it: 62'-6 1/2", 62' 6",
// 41 ft 6 in, 41.5 ft, 1-1/2", 12.5 m, 30 cm, 25 mm; a number alone is in the
// bare unit. The length comes to the nearest 1/64 in. Errors are sentences for
// the person who typed it; anything negative or over Longest is one.
func ParseLength(text string, bare Unit) (Length, error) {
	l, err := ParseSigned(text, bare)
	if err == nil && l < 0 {
		return 0, fmt.Errorf("%s is less than nothing; a length has no minus sign", shown(text))
	}
	return l, err
}

// ParseSigned is ParseLength for a place on the plan, which may lie before the
// origin: a minus sign in front makes the whole length negative.
func ParseSigned(text string, bare Unit) (Length, error) {
	s := strings.TrimSpace(spelling.Replace(text))
	if s == "" {
		return 0, errors.New("no length given; write it like 41 ft 6 in")
	}
	if len(s) > 60 {
		return 0, unread(text)
	}
	if strings.Contains(s, ",") {
		return 0, fmt.Errorf("%s has a comma; write 1200 for twelve hundred and 12.5 for twelve and a half", shown(text))
	}
	s, negative := strings.CutPrefix(s, "-")
	var terms []term
	for s = strings.TrimSpace(s); s != ""; {
		t, rest, err := readTerm(s)
		if err != nil {
			return 0, err
		}
		if t.text == "" {
			return 0, unread(text)
		}
		terms = append(terms, t)
		s = strings.TrimSpace(rest)
		if after, ok := strings.CutPrefix(s, "-"); ok {
			if s = strings.TrimSpace(after); s == "" {
				return 0, unread(text)
			}
		}
	}
	var inches float64
	switch {
	case len(terms) == 1:
		t := terms[0]
		if t.unit == "" {
			t.unit = bare
		}
		per, ok := inchesPer(t.unit)
		if !ok {
			return 0, fmt.Errorf("%s has no unit; write ft, in, m, cm or mm behind it", shown(text))
		}
		inches = per(t.value)
	case len(terms) == 2 && terms[0].unit == Foot && (terms[1].unit == Inch || terms[1].unit == ""):
		ft, in := terms[0].value, terms[1].value
		if ft != math.Trunc(ft) {
			return 0, fmt.Errorf("%s gives inches beside a part of a foot; write either 41.5 ft or 41 ft 6 in", shown(text))
		}
		if in >= 12 {
			return 0, fmt.Errorf("%s gives %s inches beside feet; there are only 12 in a foot", shown(text), terms[1].text)
		}
		inches = float64(ft*12) + in
	default:
		return 0, unread(text)
	}
	if !(inches <= float64(Longest)) {
		return 0, fmt.Errorf("%s is more than 10,000 ft", shown(text))
	}
	if negative {
		inches = -inches
	}
	return Inches(inches) + 0, nil // + 0: never a negative zero
}

// A term is a number and its unit, if one stands behind it.
type term struct {
	text  string
	value float64
	unit  Unit
}

func readTerm(s string) (t term, rest string, err error) {
	t.text, rest = number(s)
	if t.text == "" {
		return t, s, nil
	}
	if den, after, ok := fraction(rest); ok {
		// 3/4: the number read so far is the fraction's upper half.
		if t.value, err = divide(t.text, den); err != nil {
			return t, s, err
		}
		t.text, rest = t.text+"/"+den, after
	} else {
		if t.value, err = strconv.ParseFloat(t.text, 64); err != nil {
			return term{}, s, nil
		}
		if num, den, after, ok := mixed(rest); ok && !strings.Contains(t.text, ".") {
			part, err := divide(num, den)
			if err != nil {
				return t, s, err
			}
			if part >= 1 {
				return t, s, fmt.Errorf("the fraction %s/%s is not less than one", num, den)
			}
			t.value += part
			t.text, rest = t.text+" "+num+"/"+den, after
		}
	}
	t.unit, rest = unitWord(strings.TrimLeft(rest, " "))
	return t, rest, nil
}

// number cuts plain decimals off the front of s: no sign, no exponent.
func number(s string) (num, rest string) {
	i, dot, digits := 0, false, 0
	for ; i < len(s); i++ {
		switch c := s[i]; {
		case c >= '0' && c <= '9':
			digits++
			continue
		case c == '.' && !dot:
			dot = true
			continue
		}
		break
	}
	if digits == 0 {
		return "", s
	}
	return s[:i], s[i:]
}

// fraction reads the "/4" behind a number.
func fraction(s string) (den, rest string, ok bool) {
	s, ok = strings.CutPrefix(strings.TrimLeft(s, " "), "/")
	if !ok {
		return "", s, false
	}
	den, rest = number(strings.TrimLeft(s, " "))
	return den, rest, den != ""
}

// mixed reads the " 1/2" or "-1/2" behind a whole number.
func mixed(s string) (num, den, rest string, ok bool) {
	cut := strings.TrimLeft(s, " ")
	cut = strings.TrimLeft(strings.TrimPrefix(cut, "-"), " ")
	if cut == s {
		return "", "", s, false
	}
	num, cut = number(cut)
	if num == "" {
		return "", "", s, false
	}
	den, rest, ok = fraction(cut)
	return num, den, rest, ok
}

func divide(num, den string) (float64, error) {
	if strings.Contains(num+den, ".") {
		return 0, fmt.Errorf("the fraction %s/%s has a decimal point in it", num, den)
	}
	n, errN := strconv.ParseFloat(num, 64)
	d, errD := strconv.ParseFloat(den, 64)
	if errN != nil || errD != nil || d == 0 {
		return 0, fmt.Errorf("%s/%s is not a fraction", num, den)
	}
	return n / d, nil
}

func unitWord(s string) (Unit, string) {
	if rest, ok := strings.CutPrefix(s, "'"); ok {
		return Foot, rest
	}
	if rest, ok := strings.CutPrefix(s, `"`); ok {
		return Inch, rest
	}
	i := 0
	for i < len(s) && s[i] >= 'a' && s[i] <= 'z' {
		i++
	}
	rest := strings.TrimPrefix(s[i:], ".")
	switch s[:i] {
	case "ft", "foot", "feet":
		return Foot, rest
	case "in", "inch", "inches":
		return Inch, rest
	case "m", "meter", "meters", "metre", "metres":
		return Metre, rest
	case "cm", "centimeter", "centimeters", "centimetre", "centimetres":
		return Centimetre, rest
	case "mm", "millimeter", "millimeters", "millimetre", "millimetres":
		return Millimetre, rest
	}
	return "", s
}

// inchesPer turns a unit into inches; 1 in is 25.4 mm exactly.
func inchesPer(u Unit) (func(float64) float64, bool) {
	switch u {
	case Inch:
		return func(v float64) float64 { return v }, true
	case Foot:
		return func(v float64) float64 { return v * 12 }, true
	case Metre:
		return func(v float64) float64 { return v * 1000 / 25.4 }, true
	case Centimetre:
		return func(v float64) float64 { return v * 10 / 25.4 }, true
	case Millimetre:
		return func(v float64) float64 { return v / 25.4 }, true
	}
	return nil, false
}

// spelling brings the marks of keyboards and keypads to one form.
var spelling = strings.NewReplacer(
	"″", `"`, "”", `"`, "“", `"`, "''", `"`, "’’", `"`, "′′", `"`,
	"′", "'", "’", "'", "‘", "'",
	"–", "-", "—", "-", "‐", "-", "‑", "-", "−", "-",
	"\u00a0", " ", "\u202f", " ", "\u2009", " ", "\t", " ", "⁄", "/",
	"½", " 1/2", "¼", " 1/4", "¾", " 3/4", "⅛", " 1/8", "⅜", " 3/8", "⅝", " 5/8", "⅞", " 7/8",
	"A", "a", "C", "c", "E", "e", "F", "f", "H", "h", "I", "i", "L", "l",
	"M", "m", "N", "n", "O", "o", "R", "r", "S", "s", "T", "t",
)

func unread(text string) error {
	return fmt.Errorf("%s is not a length; write it like 41 ft 6 in, 1 1/2 in or 12.5 m", shown(text))
}

// shown repeats what was typed, short and on one line.
func shown(text string) string {
	var b strings.Builder
	for i, r := range strings.TrimSpace(text) {
		if i >= 24 {
			b.WriteString("...")
			break
		}
		if r < ' ' || r == 0x7f {
			r = ' '
		}
		b.WriteRune(r)
	}
	return "“" + b.String() + "”"
}
