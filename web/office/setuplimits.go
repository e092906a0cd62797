package office

import (
	"fmt"
	"io/fs"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"github.com/go-chi/chi/v5"

	"duskline/internal/checks"
	"duskline/internal/daylog"
	"duskline/web"
)

// LimitsView is every limit of a job, by the rule that goes by it.
type LimitsView struct {
	Frame  web.Frame
	Looser []string // what is looser than published, as summaries print it
	Rules  []LimitRule
}

// LimitRule is the limits of one rule.
type LimitRule struct {
	Title string
	Rows  []LimitRow
}

// LimitRow is one limit: what it is by default and on this job, on whose word,
// and every change.
type LimitRow struct {
	URL, Label                  string
	Bound, Default, Value, Unit string // Bound: "at least", "at most"
	Source                      string
	Tag                         string // of a value that is not the default
	Changes                     []SetupChange
}

func plain(n float64) string { return strconv.FormatFloat(n, 'f', -1, 64) }

// limits is GET /job/{job}/setup/limits.
func (p *pages) limits(v *setupVisit) error {
	view := LimitsView{Frame: v.frame("Limits")}
	for _, l := range checks.LooserLimits(v.day.Setup) {
		view.Looser = append(view.Looser, l.String())
	}
	titles := map[string]string{"tools-down": "The day"}
	for _, c := range checks.All() {
		titles[c.ID] = c.Title
	}
	for _, l := range checks.Limits() {
		rule, _, _ := strings.Cut(l.Name, ".")
		if n := len(view.Rules); n == 0 || view.Rules[n-1].Title != titles[rule] {
			view.Rules = append(view.Rules, LimitRule{Title: titles[rule]})
		}
		last := &view.Rules[len(view.Rules)-1]
		last.Rows = append(last.Rows, v.limitRow(l))
	}
	return v.show(http.StatusOK, LimitsPage(view))
}

func (v *setupVisit) limitRow(l checks.Limit) LimitRow {
	row := LimitRow{URL: v.limitURL(l), Label: l.Label, Bound: "at least", Default: plain(l.Default), Value: plain(v.valueOf(l)), Unit: l.Unit, Source: l.Source.String()}
	if l.Most {
		row.Bound = "at most"
	}
	if l.Floor.Source.Where != "" {
		row.Source += "; published: " + row.Bound + " " + plain(l.Floor.Value) + " " + l.Unit + ", " + l.Floor.Source.String()
	}
	switch {
	case l.Looser(v.valueOf(l)):
		row.Tag = "looser than published"
	case row.Value != row.Default:
		row.Tag = "changed"
	}
	for _, line := range v.lines("limit") {
		if b, ok := line.Body.(*daylog.LimitSetup); ok && b.Limit == l.Name {
			row.Changes = append(row.Changes, v.change(line))
		}
	}
	return row
}

func (v *setupVisit) limitURL(l checks.Limit) string {
	return v.url("/limits/" + url.PathEscape(l.Name))
}

// valueOf is a limit's value in force today. Packing up is set with the job's
// hours too.
func (v *setupVisit) valueOf(l checks.Limit) float64 {
	if l.Name == "tools-down.packup_min" {
		return float64(v.day.Setup.Packup)
	}
	if value, set := v.day.Setup.Limits[l.Name]; set {
		return value
	}
	return l.Default
}

// limitAsked is the limit of the address, and the line about it that is to be
// corrected.
func (v *setupVisit) limitAsked() (checks.Limit, *daylog.Line, error) {
	for _, l := range checks.Limits() {
		if l.Name != chi.URLParam(v.r, "limit") {
			continue
		}
		of, err := v.lineAsked("limit")
		if b, ok := bodyOf(of).(*daylog.LimitSetup); err == nil && of != nil && (!ok || b.Limit != l.Name) {
			err = fmt.Errorf("entry: %w", fs.ErrNotExist)
		}
		return l, of, err
	}
	return checks.Limit{}, nil, fmt.Errorf("limit: %w", fs.ErrNotExist)
}

func bodyOf(l *daylog.Line) daylog.Body {
	if l == nil {
		return nil
	}
	return l.Body
}

func (v *setupVisit) limitForm(l checks.Limit, of *daylog.Line, wrong map[string]string) (web.Form, error) {
	typed, row := typedOnly(v.r), v.limitRow(l)
	form := web.Form{
		Heading: web.Heading{Title: l.Label, Lead: "Days before the change keep the value they had."},
		URL:     row.URL,
		Facts:   []web.Fact{{Term: "Default", Value: row.Bound + " " + row.Default + " " + l.Unit}, {Term: "In force today", Value: row.Value + " " + l.Unit}, {Term: "Source", Value: row.Source}},
		Cancel:  web.Action{Label: "Back to the limits", URL: v.url("/limits")},
	}
	if floor, published := l.Published(); published {
		side := map[bool]string{false: "Under ", true: "Over "}[l.Most]
		form.Facts = append(form.Facts, web.Fact{Term: "Looser than published", Value: side + plain(floor.Value) + " " + l.Unit + ": it then prints on every day summary, with the reason."})
	}
	value := row.Value
	if b, ok := bodyOf(of).(*daylog.LimitSetup); ok {
		value = plain(b.Value)
		form.Heading = v.correcting("Limit, "+l.Label, of)
		form.URL += "?of=" + url.QueryEscape(of.Root)
	}
	if typed != nil {
		value = typed.Get("value")
	}
	fields := []web.Field{{Name: "value", Kind: web.FieldNumber, Label: "New value", Unit: l.Unit, Value: value, Error: wrong["value"], Needed: true}}
	if of == nil {
		fields = append(fields, web.Field{Name: "why", Kind: web.FieldText, Label: "Why", Value: typed.Get("why"), Error: wrong["why"], Needed: true, Help: "As in: specification 07 53 23, 3.4. It stands beside the value."})
	}
	return form, v.close(&form, of, fields, wrong)
}

// askLimit is GET /job/{job}/setup/limits/{limit}.
func (p *pages) askLimit(v *setupVisit) error {
	l, of, err := v.limitAsked()
	if err != nil {
		return err
	}
	form, err := v.limitForm(l, of, nil)
	if err != nil {
		return err
	}
	return v.showForm(http.StatusOK, form)
}

// mostLimit is more than any limit of a job.
const mostLimit = 100_000

// saveLimit is POST /job/{job}/setup/limits/{limit}. It takes no value without
// a reason.
func (p *pages) saveLimit(v *setupVisit) error {
	l, of, err := v.limitAsked()
	if err != nil {
		return err
	}
	e, wrong := v.entry(of)
	e.Why = strings.TrimSpace(strings.ToValidUTF8(v.r.PostForm.Get("why"), ""))
	if e.Why == "" {
		wrong["why"] = "Say why: the reason stands beside the value."
	}
	text := strings.TrimSpace(v.r.PostForm.Get("value"))
	bare := strings.TrimSpace(strings.TrimSuffix(text, l.Unit))
	value, err := strconv.ParseFloat(bare, 64)
	switch {
	case text == "":
		wrong["value"] = "Type the new value."
	case err != nil || strings.Trim(bare, "-.0123456789") != "":
		wrong["value"] = "This is not a number. Write it in " + l.Unit + ", as in 30."
	case value < 0 || value > mostLimit:
		wrong["value"] = "A limit lies between 0 and 100,000 " + l.Unit + "."
	}
	if len(wrong) > 0 {
		form, err := v.limitForm(l, of, wrong)
		if err != nil {
			return err
		}
		return v.showForm(http.StatusUnprocessableEntity, form)
	}
	e.Body = &daylog.LimitSetup{Limit: l.Name, Value: value}
	return v.keep(e, v.url("/limits"))
}
