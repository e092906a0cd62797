package web

import (
	"net/http"
	"slices"

	"duskline/internal/daylog"
)

// KindsView lists everything that can be written down.
type KindsView struct {
	Frame  Frame
	Groups []KindGroup
}

// KindGroup is the kinds of one part of the work.
type KindGroup struct {
	Title string
	Kinds []Action
}

// kinds is GET /job/{job}/write: every kind of entry, in the order of the day.
func (s *site) kinds(v *visit) error {
	view := KindsView{Frame: v.frame("Other entry", "")}
	add := func(group, label, note, url string) {
		i := slices.IndexFunc(view.Groups, func(g KindGroup) bool { return g.Title == group })
		if i < 0 {
			i, view.Groups = len(view.Groups), append(view.Groups, KindGroup{Title: group})
		}
		view.Groups[i].Kinds = append(view.Groups[i].Kinds, Action{Label: label, Note: note, URL: url})
	}
	for _, set := range sets {
		add("Several at once", set.title, set.holds, v.several(set.name))
	}
	for _, k := range daylog.Kinds() {
		switch {
		case k.Name == "sign":
			add(string(k.Group), k.Title, "", v.url("sign"+v.dayQuery("?")))
		case plainKind(k):
			if k.Name == "priming" {
				add(string(k.Group), "Whole run", "all steps on one page, after the fact", v.url("run"+v.dayQuery("?")))
			}
			add(string(k.Group), k.Title, "", v.write(k.Name, nil))
		}
	}
	return v.show(http.StatusOK, KindsPage(view))
}
