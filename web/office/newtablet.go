package office

import (
	"bytes"
	"fmt"
	"net/http"
	"net/url"
	"strings"

	"rsc.io/qr"

	"duskline/web"
)

// NewTabletView is the page on which a tablet that has no job yet is enrolled.
type NewTabletView struct {
	Frame web.Frame
	Code  string
}

// newTabletPage is GET /tablet?code=CODE: what a tablet gets while it does not
// answer itself. The page has the tablet fetch its program, which then takes the
// form: the key goes from the office to the tablet's own log and nowhere else.
func (p *pages) newTabletPage(w http.ResponseWriter, r *http.Request) {
	view := NewTabletView{
		Frame: web.Frame{Title: "Enrol this tablet", Job: "Duskline", Aboard: true},
		Code:  strings.ToValidUTF8(r.URL.Query().Get("code"), ""),
	}
	var page bytes.Buffer
	if err := NewTabletPage(view).Render(r.Context(), &page); err != nil {
		p.Logf("the page of a new tablet: %v", err)
		http.Error(w, "This page went wrong. Try again.", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	w.Write(page.Bytes())
}

// squares is a text as a QR code: the path of its dark squares, and how many
// squares a side of the drawing has, with the margin of four that readers need
// (ISO/IEC 18004).
type squares struct {
	Side int
	Path string
}

// scanned draws the address at which a tablet is enrolled with a code; nothing if
// it is too long to draw.
func scanned(site, code string) squares {
	const margin = 4
	c, err := qr.Encode(site+"/tablet?code="+url.QueryEscape(code), qr.M)
	if err != nil {
		return squares{}
	}
	var path bytes.Buffer
	for y := range c.Size {
		for x := 0; x < c.Size; x++ {
			from := x
			for x < c.Size && c.Black(x, y) {
				x++
			}
			if x > from {
				fmt.Fprintf(&path, "M%d %dh%dv1h-%dz", from+margin, y+margin, x-from, x-from)
			}
		}
	}
	return squares{c.Size + 2*margin, path.String()}
}
