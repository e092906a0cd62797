package script

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"
)

// A word is what stands between spaces: a word, a figure, a comma, or a text
// in quotes.
type word struct {
	text       string // without its quotes
	quoted     bool
	begin, end int // in the line
}

// split cuts a line into words. A comma stands alone unless it parts the
// thousands of a figure. Inside quotes a quote is written twice.
func split(text string) ([]word, error) {
	var out []word
	for i := 0; i < len(text); {
		switch c := text[i]; {
		case c == ' ' || c == '\t':
			i++
		case c == ',':
			out = append(out, word{",", false, i, i + 1})
			i++
		case c == '"':
			var said strings.Builder
			j := i + 1
			for ; ; j++ {
				if j >= len(text) {
					return nil, fmt.Errorf("the quotes before %s are never closed", shown(text[i+1:]))
				}
				if text[j] != '"' {
					said.WriteByte(text[j])
				} else if j+1 < len(text) && text[j+1] == '"' {
					said.WriteByte('"')
					j++
				} else {
					break
				}
			}
			out = append(out, word{said.String(), true, i, j + 1})
			i = j + 1
		default:
			j := i
			for j < len(text) && text[j] != ' ' && text[j] != '\t' && (text[j] != ',' || thousands(text, j)) {
				j++
			}
			out = append(out, word{text[i:j], false, i, j})
			i = j
		}
	}
	return out, nil
}

// newReader splits a line. Behind "other", the kind and "as" stands the JSON of
// a body, which is not split.
func newReader(text string) (*reader, error) {
	r := &reader{text: text}
	for at := 0; ; {
		i := strings.Index(text[at:], " as ")
		if i < 0 {
			break
		}
		at += i
		raw := strings.TrimSpace(text[at+len(" as "):])
		words, err := split(text[:at])
		other := slices.ContainsFunc(words, func(w word) bool { return w.text == "other" && !w.quoted })
		if err == nil && other && (json.Valid([]byte(raw)) || strings.HasPrefix(raw, "{")) {
			r.text, r.words, r.json = text[:at], words, raw
			return r, nil
		}
		at += len(" as")
	}
	var err error
	r.words, err = split(text)
	return r, err
}

// thousands reports whether the comma at i parts the thousands of a figure, as
// in 37,992.
func thousands(text string, i int) bool {
	if i == 0 || i+4 > len(text) || !digit(text[i-1]) {
		return false
	}
	for _, c := range []byte(text[i+1 : i+4]) {
		if !digit(c) {
			return false
		}
	}
	return i+4 == len(text) || !digit(text[i+4])
}

func digit(c byte) bool { return c >= '0' && c <= '9' }

// quote writes a text so that split reads it back as one word.
func quote(text string) string { return `"` + strings.ReplaceAll(text, `"`, `""`) + `"` }

// shown repeats what was typed, short and on one line.
func shown(text string) string {
	text = strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f || r == utf8.RuneError {
			return ' '
		}
		return r
	}, text)
	if r := []rune(text); len(r) > 60 {
		text = string(r[:60]) + "..."
	}
	return "“" + text + "”"
}

// either joins what may stand somewhere, as one says it: "a, b or c".
func either(what []string) string {
	slices.Sort(what)
	what = slices.Compact(what)
	switch n := len(what); n {
	case 0:
		return "nothing"
	case 1:
		return what[0]
	default:
		return strings.Join(what[:n-1], ", ") + " or " + what[n-1]
	}
}
