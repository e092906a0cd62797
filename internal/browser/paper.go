package browser

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

// Paper is a size of paper in inches.
type Paper struct {
	Name          string
	Width, Height float64
}

// The papers that pages are printed on.
var (
	Letter = Paper{"Letter", 8.5, 11}
	A4     = Paper{"A4", 8.27, 11.69}
)

// Print prints the page as the browser's own dialog does, without its header and
// footer, and returns the path of the PDF. With PICTURES set it is kept there,
// with a picture in gray of each of its pages.
func (p *Page) Print(paper Paper, name string) string {
	p.t.Helper()
	// As big as everything else is loaded: a page is printed with its fonts.
	Eval[bool](p, `document.fonts.ready.then(() => true)`)
	var pdf []byte
	p.run("printing", func(ctx context.Context) error {
		background := false
		out, err := chromedp.Call(ctx, page.PrintToPDF, page.PrintToPDFParams{PaperWidth: paper.Width, PaperHeight: paper.Height, PrintBackground: &background})
		pdf = out.Data
		return err
	})
	folder := os.Getenv("PICTURES")
	if folder == "" {
		folder = p.t.TempDir()
	}
	path := filepath.Join(folder, strings.ReplaceAll(name, " ", "-")+"-"+paper.Name+".pdf")
	if err := os.MkdirAll(folder, 0o755); err != nil {
		p.t.Fatal(err)
	}
	if err := os.WriteFile(path, pdf, 0o644); err != nil {
		p.t.Fatal(err)
	}
	if os.Getenv("PICTURES") != "" {
		p.poppler("pdftoppm", "-gray", "-r", "100", "-png", path, strings.TrimSuffix(path, ".pdf"))
	}
	return path
}

// Picture draws the first page of a PDF in gray as name.png beside it, and returns
// that picture's path.
func (p *Page) Picture(path, name string) string {
	p.t.Helper()
	picture := filepath.Join(filepath.Dir(path), name)
	p.poppler("pdftoppm", "-gray", "-r", "96", "-f", "1", "-l", "1", "-singlefile", "-png", path, picture)
	return picture + ".png"
}

// Word is a word on a printed page, with its place in points from the page's
// left and upper edge.
type Word struct {
	Text                     string
	Left, Top, Right, Bottom float64
}

// Printed is one page of a PDF.
type Printed struct {
	Width, Height float64 // points
	Lines         []string
	Words         []Word
}

var (
	pageTag = regexp.MustCompile(`<page width="([0-9.]+)" height="([0-9.]+)">`)
	wordTag = regexp.MustCompile(`<word xMin="([0-9.-]+)" yMin="([0-9.-]+)" xMax="([0-9.-]+)" yMax="([0-9.-]+)">(.*)</word>`)
	plain   = strings.NewReplacer("&amp;", "&", "&lt;", "<", "&gt;", ">", "&quot;", `"`, "&apos;", "'", "&#39;", "'")
)

// ReadPDF reads a PDF back: its lines as they lie, each with single spaces, and
// its words with their places.
func (p *Page) ReadPDF(path string) []Printed {
	p.t.Helper()
	var pages []Printed
	for _, text := range strings.Split(strings.TrimSuffix(p.poppler("pdftotext", "-layout", path, "-"), "\f"), "\f") {
		var one Printed
		for _, line := range strings.Split(text, "\n") {
			if words := strings.Fields(line); len(words) > 0 {
				one.Lines = append(one.Lines, strings.Join(words, " "))
			}
		}
		pages = append(pages, one)
	}
	at := -1
	for _, line := range strings.Split(p.poppler("pdftotext", "-bbox", path, "-"), "\n") {
		if m := pageTag.FindStringSubmatch(line); m != nil {
			if at++; at < len(pages) {
				pages[at].Width, pages[at].Height = number(m[1]), number(m[2])
			}
		} else if m := wordTag.FindStringSubmatch(line); m != nil && at < len(pages) {
			pages[at].Words = append(pages[at].Words, Word{plain.Replace(m[5]), number(m[1]), number(m[2]), number(m[3]), number(m[4])})
		}
	}
	if at+1 != len(pages) {
		p.t.Fatalf("%s has %d pages of words and %d of lines", path, at+1, len(pages))
	}
	return pages
}

func number(text string) float64 {
	n, _ := strconv.ParseFloat(text, 64)
	return n
}

func (p *Page) poppler(program string, args ...string) string {
	p.t.Helper()
	out, err := exec.Command(program, args...).Output()
	if err != nil {
		p.t.Fatalf("%s: %v. It is in the package poppler-utils, which make tools installs. %s", program, err, said(err))
	}
	return string(out)
}

func said(err error) string {
	if exit, ok := err.(*exec.ExitError); ok {
		return fmt.Sprintf("It said: %s", exit.Stderr)
	}
	return ""
}
