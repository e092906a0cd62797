//go:build js && wasm

package main

import (
	"os"
	"regexp"
	"syscall/js"
	"testing"
	"time"
)

// The browser's zones, read by clocksOf as sw.js has it, against Go's own, hour
// by hour around every change of the years told. Under Node zoneinfo comes from
// the machine or GOROOT.
func TestZonesAgree(t *testing.T) {
	text, err := os.ReadFile("../../static/sw.js")
	if err != nil {
		t.Fatal(err)
	}
	source := regexp.MustCompile(`(?s)self\.clocksOf = (.*?\n\});`).FindSubmatch(text)
	if source == nil {
		t.Fatal("sw.js has no clocksOf")
	}
	js.Global().Set("clocksOf", js.Global().Call("eval", "("+string(source[1])+")"))
	z := &zones{}
	for _, name := range []string{"America/Chicago", "America/New_York", "America/Phoenix", "Europe/Berlin", "Australia/Lord_Howe", "Asia/Kathmandu", "UTC", "Etc/GMT+6"} {
		want, err := time.LoadLocation(name)
		if err != nil {
			t.Fatal(err)
		}
		got, err := z.Load(name)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		for at := time.Date(2020, 1, 2, 0, 0, 0, 0, time.UTC); at.Year() < 2037; at = at.Add(30 * time.Minute) {
			if g, w := at.In(got).Format("2006-01-02 15:04 -0700"), at.In(want).Format("2006-01-02 15:04 -0700"); g != w {
				t.Fatalf("%s at %s shows %s, want %s", name, at, g, w)
			}
		}
	}
	for _, name := range []string{"", "Nowhere/Atall", "../etc"} {
		if _, err := z.Load(name); err == nil {
			t.Errorf("zone %q exists", name)
		}
	}
}
