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

// LimitsView is every limit of a job.
type LimitsView struct {
	Frame web.Frame
	Rows  []LimitRow
}

// LimitRow is one limit: what it is by default and on this job, on whose word,
// and every change.
type LimitRow struct {
	URL, Label, Name     string
	Default, Value, Unit string
	Source               string
	Changed              bool // the value in force is not the default
	Differs              bool // from a value that somebody has published
	Changes              []string
}

func plain(n float64) string { return strconv.FormatFloat(n, 'f', -1, 64) }

// limits is GET /job/{job}/setup/limits.
func (p *pages) limits(v *setupVisit) error {
	view := LimitsView{Frame: v.frame("Limits")}
	for _, l := range checks.Limits() {
		view.Rows = append(view.Rows, v.limitRow(l))
	}
	return v.show(http.StatusOK, LimitsPage(view))
}

func (v *setupVisit) limitRow(l checks.Limit) LimitRow {
	row := LimitRow{URL: v.url("/limits/" + url.PathEscape(l.Name)), Label: l.Label, Name: l.Name, Default: plain(l.Default), Value: plain(v.valueOf(l)), Unit: l.Unit, Source: l.Source.String()}
	row.Changed = row.Value != row.Default
	row.Differs = row.Changed && l.Source.Where != ""
	for _, line := range v.lines("limit") {
		if b, ok := line.Body.(*daylog.LimitSetup); ok && b.Limit == l.Name && line.Struck == nil {
			row.Changes = append(row.Changes, fmt.Sprintf("%s %s from %s: %s. Written %s.", plain(b.Value), l.Unit, dateWords(line.Day), strings.TrimSuffix(line.Why, "."), v.written(line.Entry)))
		}
	}
	return row
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

func (v *setupVisit) limitAsked() (checks.Limit, error) {
	for _, l := range checks.Limits() {
		if l.Name == chi.URLParam(v.r, "limit") {
			return l, nil
		}
	}
	return checks.Limit{}, fmt.Errorf("limit: %w", fs.ErrNotExist)
}

func (v *setupVisit) limitForm(l checks.Limit, wrong map[string]string) (web.Form, error) {
	typed, row := typedOnly(v.r), v.limitRow(l)
	value := row.Value
	if typed != nil {
		value = typed.Get("value")
	}
	form := web.Form{
		Heading: web.Heading{Title: l.Label, Lead: "Days before the change keep the value they had."},
		URL:     row.URL,
		Facts:   []web.Fact{{Term: "Default", Value: row.Default + " " + l.Unit}, {Term: "In force today", Value: row.Value + " " + l.Unit}, {Term: "Source", Value: row.Source}},
		Cancel:  web.Action{Label: "Back to the limits", URL: v.url("/limits")},
	}
	err := v.close(&form, nil, []web.Field{
		{Name: "value", Kind: web.FieldNumber, Label: "New value", Unit: l.Unit, Value: value, Error: wrong["value"], Needed: true},
		{Name: "why", Kind: web.FieldText, Label: "Why", Value: typed.Get("why"), Error: wrong["why"], Needed: true, Help: "As in: specification 07 53 23, 3.4. It stands beside the value."},
	}, wrong)
	return form, err
}

// askLimit is GET /job/{job}/setup/limits/{limit}.
func (p *pages) askLimit(v *setupVisit) error {
	l, err := v.limitAsked()
	if err != nil {
		return err
	}
	form, err := v.limitForm(l, nil)
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
	l, err := v.limitAsked()
	if err != nil {
		return err
	}
	e, wrong := v.entry(nil)
	e.Why = strings.TrimSpace(strings.ToValidUTF8(v.r.PostForm.Get("why"), ""))
	if e.Why == "" {
		wrong["why"] = "Say why: the reason stands beside the value."
	}
	text := strings.TrimSpace(v.r.PostForm.Get("value"))
	value, err := strconv.ParseFloat(text, 64)
	switch {
	case text == "":
		wrong["value"] = "Type the new value."
	case err != nil || strings.Trim(text, "-.0123456789") != "":
		wrong["value"] = "This is not a number. Write it in " + l.Unit + ", as in 30."
	case value < 0 || value > mostLimit:
		wrong["value"] = "A limit lies between 0 and 100,000 " + l.Unit + "."
	}
	if len(wrong) > 0 {
		form, err := v.limitForm(l, wrong)
		if err != nil {
			return err
		}
		return v.showForm(http.StatusUnprocessableEntity, form)
	}
	e.Body = &daylog.LimitSetup{Limit: l.Name, Value: value}
	return v.keep(e, v.url("/limits"))
}
