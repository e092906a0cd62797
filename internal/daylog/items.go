package daylog

import "slices"

// Item is something to be put right: a deficiency, a punch item or a leak.
type Item struct {
	Entry  string `json:"entry"`          // that reports it
	Sort   string `json:"sort"`           // "repair", "punch", "leak"
	Name   string `json:"name,omitempty"` // what people call it
	What   string `json:"what,omitempty"`
	Where  string `json:"where,omitempty"`
	Water  bool   `json:"water,omitempty"`  // it touches water
	Buried bool   `json:"buried,omitempty"` // stone would bury it
	Due    string `json:"due,omitempty"`    // date
	Since  Date   `json:"since"`
	Done   Date   `json:"done,omitempty"`
	Fixer  string `json:"fixer,omitempty"` // the entry that puts it right
}

// item is what a person calls it: its name, else what it is.
func (i Item) item() string {
	if i.Name != "" {
		return i.Name
	}
	return i.What
}

// Deficiency is what is wrong and must be put right.
type Deficiency struct {
	What   string `json:"what,omitempty"`
	Name   string `json:"name,omitempty"`
	Where  string `json:"where,omitempty"`
	Water  bool   `json:"water,omitempty"`
	Buried bool   `json:"buried,omitempty"`
	Due    string `json:"due,omitempty"`
}

var repairKind = Kind{
	Name: "repair", Title: "Repair found", Group: Repairs, Writes: Crew, Section: "deficiencies",
	Script: []string{"repair needed {what}; called {name}; at {where}; touches water {water}; stone would bury it {buried}; due {due}"},
	New:    func() Body { return new(Deficiency) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "what", Label: "What is wrong", Type: Text},
			{Name: "where", Label: "Where", Type: Text},
			{Name: "water", Label: "It touches water", Type: Tick},
			{Name: "buried", Label: "Stone would bury it", Type: Tick},
			{Name: "name", Label: "Number or name", Type: Text},
			{Name: "due", Label: "Due", Type: Calendar},
		}
	},
	Check: func(d *Day, b Body) []Problem { return checkItem(b.(*Deficiency).What, b.(*Deficiency).Due) },
	Say: func(_ *Day, b Body) string {
		f := b.(*Deficiency)
		return say("repair needed: "+f.What, f.Where, when(f.Water, "touches water"), when(f.Buried, "stone would bury it"), after("due", f.Due))
	},
}

func (*Deficiency) kind() *Kind { return &repairKind }

func (b *Deficiency) apply(d *Day, l *Line) {
	d.Roof.item(Item{l.Root, "repair", b.Name, b.What, b.Where, b.Water, b.Buried, b.Due, d.Date, "", ""})
}

func (r *Roof) item(i Item) { r.Items = append(r.Items, i) }

func checkItem(what, due string) []Problem {
	if what == "" {
		return []Problem{{Field: "what", Says: "What is it?"}}
	}
	if _, err := ParseDate(due); due != "" && err != nil {
		return []Problem{{Field: "due", Says: "This is not a date like 2026-10-06."}}
	}
	return nil
}

// PunchItem is work to be done by a date that holds nothing up today.
type PunchItem struct {
	What  string `json:"what,omitempty"`
	Name  string `json:"name,omitempty"`
	Where string `json:"where,omitempty"`
	Due   string `json:"due,omitempty"`
}

var punchKind = Kind{
	Name: "punch", Title: "Punch item", Group: Repairs, Writes: Crew, Section: "deficiencies",
	Script: []string{"punch item {what}; called {name}; at {where}; due {due}"},
	New:    func() Body { return new(PunchItem) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "what", Label: "What is to be done", Type: Text},
			{Name: "where", Label: "Where", Type: Text},
			{Name: "name", Label: "Number or name", Type: Text},
			{Name: "due", Label: "Due", Type: Calendar},
		}
	},
	Check: func(d *Day, b Body) []Problem { return checkItem(b.(*PunchItem).What, b.(*PunchItem).Due) },
	Say: func(_ *Day, b Body) string {
		p := b.(*PunchItem)
		return say("punch item: "+p.What, p.Where, after("due", p.Due))
	},
}

func (*PunchItem) kind() *Kind { return &punchKind }

func (b *PunchItem) apply(d *Day, l *Line) {
	d.Roof.item(Item{Entry: l.Root, Sort: "punch", Name: b.Name, What: b.What, Where: b.Where, Due: b.Due, Since: d.Date})
}

// LeakReport is water seen inside.
type LeakReport struct {
	What   string `json:"what,omitempty"`
	Name   string `json:"name,omitempty"`
	Where  string `json:"where,omitempty"`
	Who    string `json:"who,omitempty"`    // reported it
	Action string `json:"action,omitempty"` // what was done at once
}

var leakKind = Kind{
	Name: "leak", Title: "Leak report", Group: Repairs, Writes: Crew, Section: "deficiencies",
	Script: []string{"leak reported {what}; called {name}; at {where}; from {who}; action {action}"},
	New:    func() Body { return new(LeakReport) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "where", Label: "Where inside", Type: Text},
			{Name: "what", Label: "What was seen", Type: Text},
			{Name: "who", Label: "Reported by", Type: Text},
			{Name: "action", Label: "What was done at once", Type: Text},
			{Name: "name", Label: "Number or name", Type: Text},
		}
	},
	Say: func(_ *Day, b Body) string {
		k := b.(*LeakReport)
		return say("leak reported: "+k.What, k.Where, after("by", k.Who), k.Action)
	},
}

func (*LeakReport) kind() *Kind { return &leakKind }

func (b *LeakReport) apply(d *Day, l *Line) {
	d.Roof.item(Item{Entry: l.Root, Sort: "leak", Name: b.Name, What: b.What, Where: b.Where, Water: true, Since: d.Date})
}

// PutRight says that items are done. It names each by the entry that reported
// it, by its name or by what it is.
type PutRight struct {
	Items []string `json:"items,omitempty"`
	How   string   `json:"how,omitempty"`
}

var fixedKind = Kind{
	Name: "fixed", Title: "Repair or punch item done", Group: Repairs, Writes: Crew, Lasts: true,
	Script: []string{"put right {items}; how {how}"},
	New:    func() Body { return new(PutRight) },
	Fields: func(d *Day) []Field {
		return []Field{
			{Name: "items", Label: "Which", Type: Many, Options: d.Roof.openItems(), Required: true},
			{Name: "how", Label: "How", Type: Text},
		}
	},
	Check: func(d *Day, b Body) []Problem {
		f := b.(*PutRight)
		if len(f.Items) == 0 {
			return []Problem{{Field: "items", Says: "Say which repair or item.", Refuses: true}}
		}
		for _, name := range f.Items {
			if d.Roof.find(name) == nil {
				return []Problem{{Field: "items", Says: name + " is on no list. Is it named right?"}}
			}
		}
		return nil
	},
	Say: func(d *Day, b Body) string {
		f := b.(*PutRight)
		names := slices.Clone(f.Items)
		for n, name := range names {
			for _, i := range d.Roof.Items {
				if i.Entry == name {
					names[n] = i.item()
				}
			}
		}
		return say("put right: "+List(names), f.How)
	},
}

func (*PutRight) kind() *Kind { return &fixedKind }

func (b *PutRight) apply(d *Day, l *Line) {
	for _, name := range b.Items {
		if i := d.Roof.find(name); i != nil {
			i.Done, i.Fixer = d.Date, l.Root
		}
	}
}

// openItems lists what is to be put right.
func (r *Roof) openItems() []Option {
	if r == nil {
		return nil
	}
	var open []Option
	for _, i := range r.Items {
		if i.Done == "" {
			open = append(open, Option{i.Entry, i.item()})
		}
	}
	return open
}

// find gives the item that is meant: an open one, the oldest that fits.
func (r *Roof) find(name string) *Item {
	for _, fits := range []func(*Item) bool{
		func(i *Item) bool { return i.Entry == name },
		func(i *Item) bool { return i.Name == name || i.What == name },
	} {
		for i := range r.Items {
			if it := &r.Items[i]; it.Done == "" && name != "" && fits(it) {
				return it
			}
		}
	}
	return nil
}
