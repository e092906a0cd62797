package roofplan

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestParseLength(t *testing.T) {
	for _, c := range []struct {
		text string
		bare Unit
		want Length // inches, by hand
		says string
	}{
		{`62'-6 1/2"`, Foot, 750.5, "62 ft 6 1/2 in"},
		{`62' 6"`, Foot, 750, "62 ft 6 in"},
		{`62'6`, Foot, 750, "62 ft 6 in"},
		{`62’-6½”`, Foot, 750.5, "62 ft 6 1/2 in"},
		{"41 ft 6 in", Inch, 498, "41 ft 6 in"},
		{"41 FT. 6 IN.", Inch, 498, "41 ft 6 in"},
		{"41.5 ft", Inch, 498, "41 ft 6 in"},
		{"41 ft", Inch, 492, "41 ft"},
		{"5 in", Foot, 5, "5 in"},
		{`1-1/2"`, Foot, 1.5, "1 1/2 in"},
		{"1 1/2 in", Foot, 1.5, "1 1/2 in"},
		{"1½", Inch, 1.5, "1 1/2 in"},
		{"3/4", Inch, 0.75, "3/4 in"},
		{"2 ft 11 in", Foot, 35, "2 ft 11 in"},
		{"4.5", Foot, 54, "4 ft 6 in"},
		{".5 ft", Foot, 6, "6 in"},
		{"0", Foot, 0, "0 ft"},
		// 1 in is 25.4 mm exactly (NIST SP 811).
		{"25.4 mm", Foot, 1, "1 in"},
		{"12.7 m", Foot, 500, "41 ft 8 in"},
		{"30.48 cm", Foot, 12, "1 ft"},
		{"12.5 m", Foot, 492 + 8.0/64, "41 ft 1/8 in"}, // 492.126 in
		{"30 cm", Foot, 11 + 52.0/64, "11 13/16 in"},   // 11.811 in
		{"25 mm", Foot, 63.0 / 64, "63/64 in"},         // 0.984 in
		{"2.54", Metre, 100, "8 ft 4 in"},
	} {
		got, err := ParseLength(c.text, c.bare)
		if err != nil || got != c.want || got.String() != c.says {
			t.Errorf("%s = %v (%v), %v; want %v (%s)", c.text, float64(got), got, err, float64(c.want), c.says)
		}
	}
}

func TestParseLengthRefuses(t *testing.T) {
	for _, c := range []struct{ text, says string }{
		{"", "no length given"},
		{"  ", "no length given"},
		{"north", "not a length"},
		{"4 6", "not a length"},
		{"4-6", "not a length"},
		{"4 ft 6 ft", "not a length"},
		{"4 in 6 ft", "not a length"},
		{"4 m 6 in", "not a length"},
		{"4 ft 6 in 3", "not a length"},
		{"4 ft -", "not a length"},
		{"4 yd", "not a length"},
		{"1e3", "not a length"},
		{"NaN", "not a length"},
		{"Inf", "not a length"},
		{"0x10", "not a length"},
		{"4 ft 12 in", "only 12 in a foot"},
		{"4.5 ft 6 in", "either 41.5 ft or 41 ft 6 in"},
		{"1,200 in", "comma"},
		{"-5 in", "less than nothing"},
		{"10001 ft", "more than 10,000 ft"},
		{strings.Repeat("9", 50), "more than 10,000 ft"},
		{strings.Repeat("9", 400), "not a length"},
		{"1/0", "not a fraction"},
		{"1 3/2 in", "not less than one"},
		{"1.5/2", "decimal point"},
	} {
		if got, err := ParseLength(c.text, Foot); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%q = %v, %v; want an error with %q", c.text, got, err, c.says)
		}
	}
	if _, err := ParseLength("5", "furlong"); err == nil || !strings.Contains(err.Error(), "no unit") {
		t.Errorf("a bare number without a known unit: %v", err)
	}
}

func TestParseSigned(t *testing.T) {
	for text, want := range map[string]Length{"-1.5": -18, "-1 ft 6 in": -18, "−18 in": -18, "3": 36, "-0": 0} {
		got, err := ParseSigned(text, Foot)
		if err != nil || got != want || math.Signbit(float64(got)) != (want < 0) {
			t.Errorf("%s = %v, %v; want %v", text, got, err, want)
		}
	}
}

func TestLengthWritten(t *testing.T) {
	for l, want := range map[Length]string{
		Feet(41): "41 ft", Feet(4.5): "4 ft 6 in", Inches(1.5): "1 1/2 in", 0: "0 ft",
		Inches(-18): "-1 ft 6 in", Feet(97): "97 ft", Inches(1.0 / 64): "1/64 in",
		Length(math.NaN()): "no length", Length(math.Inf(1)): "no length",
	} {
		if got := l.String(); got != want {
			t.Errorf("%v in = %s, want %s", float64(l), got, want)
		}
	}
}

// What is written can be read again, and is the same in JSON.
func TestLengthRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := Length(rapid.Int64Range(-perInch*int64(Longest), perInch*int64(Longest)).Draw(t, "64ths")) / perInch
		if got, err := ParseSigned(want.String(), Metre); err != nil || got != want {
			t.Fatalf("%s reads as %v, %v", want, got, err)
		}
		if got := Feet(want.Feet()); got != want {
			t.Fatalf("%v ft is %v", want.Feet(), got)
		}
		raw, err := json.Marshal(want)
		var got Length
		if err != nil || json.Unmarshal(raw, &got) != nil || got != want {
			t.Fatalf("%s in JSON is %s (%v), reads as %v", want, raw, err, got)
		}
	})
}

func FuzzParseLength(f *testing.F) {
	for _, s := range []string{`62'-6 1/2"`, "41 ft 6 in", "1-1/2\"", "12.5 m", "-3", "½", "9/", "1 /2", "\x00'", "''"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		l, err := ParseLength(text, Foot)
		if err != nil {
			if l != 0 || err.Error() == "" || len(err.Error()) > 300 {
				t.Fatalf("%q: %v with %q", text, l, err)
			}
			return
		}
		if !(l >= 0 && l <= Longest) || l != Inches(float64(l)) {
			t.Fatalf("%q is %v", text, float64(l))
		}
		if again, err := ParseLength(l.String(), Foot); err != nil || again != l {
			t.Fatalf("%q is %s, which reads as %s, %v", text, l, again, err)
		}
	})
}
