package web

import (
	"fmt"
	"math"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

func stylesheet(t *testing.T) string {
	t.Helper()
	b, err := os.ReadFile("../static/site.css")
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// contrast is the contrast ratio of two colors written #rrggbb, by the formula of
// WCAG 2.2 ("contrast ratio", "relative luminance").
func contrast(a, b string) float64 {
	la, lb := luminance(a), luminance(b)
	return (max(la, lb) + 0.05) / (min(la, lb) + 0.05)
}

func luminance(hex string) float64 {
	v, err := strconv.ParseUint(strings.TrimPrefix(hex, "#"), 16, 32)
	if err != nil {
		panic(err)
	}
	channel := func(shift int) float64 {
		c := float64(v>>shift&0xff) / 255
		if c <= 0.04045 {
			return c / 12.92
		}
		return math.Pow((c+0.055)/1.055, 2.4)
	}
	return 0.2126*channel(16) + 0.7152*channel(8) + 0.0722*channel(0)
}

// Known values: black on white is 21:1 by definition; #767676 is the lightest
// grey that reaches 4.5:1 on white, #777777 no longer does.
func TestContrastFormula(t *testing.T) {
	for _, x := range []struct {
		a, b string
		want float64
	}{{"#000000", "#ffffff", 21}, {"#ffffff", "#ffffff", 1}, {"#767676", "#ffffff", 4.54}, {"#777777", "#ffffff", 4.48}} {
		if got := contrast(x.a, x.b); math.Abs(got-x.want) > 0.005 {
			t.Errorf("contrast of %s and %s is %.3f, want %.2f", x.a, x.b, got, x.want)
		}
	}
}

// Text reaches 4.5:1 (WCAG 2.2 SC 1.4.3), lines that mean something 3:1 (SC
// 1.4.11), on every ground they stand on and in both themes.
func TestColorsHaveContrast(t *testing.T) {
	themes := regexp.MustCompile(`(?s):root \{(.*?)\}`).FindAllStringSubmatch(stylesheet(t), -1)
	if len(themes) < 2 {
		t.Fatalf("%d themes, want light and dark first", len(themes))
	}
	for i, name := range []string{"light", "dark"} {
		color := map[string]string{}
		for _, m := range regexp.MustCompile(`--(\w+): (#[0-9a-f]{6});`).FindAllStringSubmatch(themes[i][1], -1) {
			color[m[1]] = m[2]
		}
		var said []string
		for _, need := range []struct {
			least float64
			fore  []string
		}{{4.5, []string{"ink", "quiet", "red", "blue"}}, {3, []string{"hatch"}}} {
			for _, fore := range need.fore {
				for _, ground := range []string{"paper", "card"} {
					if color[fore] == "" || color[ground] == "" {
						t.Fatalf("%s: no color %s or %s", name, fore, ground)
					}
					got := contrast(color[fore], color[ground])
					said = append(said, fmt.Sprintf("%s on %s %.1f", fore, ground, got))
					if got < need.least {
						t.Errorf("%s: %s on %s has %.2f:1, want %.1f:1", name, fore, ground, got, need.least)
					}
				}
			}
		}
		t.Logf("%s: %s", name, strings.Join(said, ", "))
	}
}

// The sheet stays small, asks nothing of other places, and nothing in it needs a
// pointer that hovers, a shadow or a gradient.
func TestStylesheetIsPlain(t *testing.T) {
	css := stylesheet(t)
	if len(css) > 18_000 {
		t.Errorf("the stylesheet has %d bytes", len(css))
	}
	for _, never := range []string{":hover", "shadow", "gradient", "http:", "https:", "@import", "data:", "!important"} {
		if strings.Contains(css, never) {
			t.Errorf("the stylesheet has %q", never)
		}
	}
	for _, m := range regexp.MustCompile(`border-radius: ([^;]+);`).FindAllStringSubmatch(css, -1) {
		if m[1] != "0" && m[1] != "50%" { // 50%: the round of a radio button
			t.Errorf("a rounded corner: %s", m[0])
		}
	}
}
