package web

import (
	"net/url"
	"strings"
	"time"

	"duskline/internal/daylog"
)

// KindFields are the controls of all that a kind of entry asks, named as they
// are sent. They show what was typed, with what is wrong by name; nothing typed
// yet, they show the body; a nil body, the kind's defaults.
func KindFields(k *daylog.Kind, d *daylog.Day, b daylog.Body, typed url.Values, wrong map[string]string) ([]Field, error) {
	v := &visit{site: new(site), day: d, zone: time.UTC}
	if zone, err := time.LoadLocation(d.Setup.Zone); err == nil {
		v.zone = zone
	}
	sh := &sheet{kind: k, typed: typed, values: values{}, wrong: wrong}
	if b != nil {
		known, err := valuesOf(b)
		if err != nil {
			return nil, err
		}
		sh.values = known
	} else {
		for _, f := range k.Fields(d) {
			if f.Default != nil {
				sh.values[f.Name] = f.Default
			}
		}
	}
	var fields []Field
	for _, f := range sh.fields(d) {
		fields = append(fields, v.control(sh, f)...)
	}
	return fields, nil
}

// ReadKind reads what was typed into the controls of a kind. What cannot be
// read or is odd is told by the name of its control, in a sentence.
func ReadKind(k *daylog.Kind, d *daylog.Day, typed url.Values) (daylog.Body, map[string]string) {
	v := &visit{site: new(site), day: d, zone: time.UTC}
	sh := &sheet{kind: k, typed: typed, values: values{}}
	wrong := map[string]string{}
	for _, f := range sh.fields(d) {
		value, err := v.readField(f, typed)
		switch {
		case err != nil:
			wrong[f.Name] = err.Error()
		case value != nil:
			sh.values[sh.bare(f)] = value
			if say := outOfRange(f, value); say != "" {
				wrong[f.Name] = strings.TrimSuffix(say, " Is it right?")
			}
		}
	}
	b := k.New()
	if err := sh.values.into(b); err != nil && len(wrong) == 0 {
		wrong[""] = "Something here does not fit together. Check each field."
	}
	if k.Check != nil && len(wrong) == 0 {
		for _, p := range k.Check(d, b) {
			wrong[sh.onForm(p.Field)] = p.Says
		}
	}
	return b, wrong
}

// EntriesOf is a day as it was written down, for pages that change nothing of
// it. Persons who came to the job later have their names of today.
func EntriesOf(d *daylog.Day, today *daylog.Setup, zone *time.Location) []EntryAct {
	v := &visit{site: new(site), day: d, today: d.Date, setup: today, zone: zone}
	return v.entryActs()
}

// Words puts an entry of a day into a few words, with what it names as times of
// day in the zone.
func Words(d *daylog.Day, zone *time.Location, e *daylog.Entry) string {
	v := &visit{site: new(site), day: d, today: d.Date, setup: d.Setup, zone: zone}
	return v.says(e)
}
