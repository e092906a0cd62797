package web

import (
	"encoding/json"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/go-chi/chi/v5"

	"duskline/internal/daylog"
	"duskline/internal/roofplan"
)

func param(v *visit, name string) string { return chi.URLParam(v.r, name) }

// as reads a value of the JSON form, whether it was read from typed text or
// from JSON, as a T; the zero T if it is none.
func as[T any](value any) T {
	var out T
	if t, ok := value.(T); ok {
		return t
	}
	raw, err := json.Marshal(value)
	if err != nil || json.Unmarshal(raw, &out) != nil {
		var none T
		return none
	}
	return out
}

func asStrings(value any) []string             { return as[[]string](value) }
func asPlaces(value any) []daylog.Place        { return as[[]daylog.Place](value) }
func asLaps(value any) []daylog.Lap            { return as[[]daylog.Lap](value) }
func asParts(value any) []daylog.PanelPart     { return as[[]daylog.PanelPart](value) }
func parseInstant(s string) (time.Time, error) { return time.Parse(time.RFC3339, s) }

// jsonInto reads text that a form carried; false if it is none of ours.
func jsonInto(text string, into any) bool { return json.Unmarshal([]byte(text), into) == nil }

func asFloat(value any) (float64, bool) {
	switch n := value.(type) {
	case float64:
		return n, true
	case int:
		return float64(n), true
	case roofplan.Length:
		return float64(n), true
	}
	return 0, false
}

// trimNumber prints a number without needless zeros and with thousands apart.
func trimNumber(n float64) string {
	s := strconv.FormatFloat(n, 'f', -1, 64)
	whole, part, cut := strings.Cut(s, ".")
	for i := len(whole) - 3; i > 0 && whole[i-1] != '-'; i -= 3 {
		whole = whole[:i] + "," + whole[i:]
	}
	if cut {
		return whole + "." + part
	}
	return whole
}

// UpperFirst writes the first letter large.
func UpperFirst(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	if n == 0 {
		return s
	}
	return string(unicode.ToUpper(r)) + s[n:]
}
