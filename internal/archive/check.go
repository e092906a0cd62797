package archive

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"

	"duskline/internal/daylog"
	"duskline/internal/store"
)

// Fault is the first thing in a record that does not fit. Stream and Seq name
// the entry, where it is about one.
type Fault struct {
	Job    string
	Stream string
	Seq    int64
	Says   string
}

func (f *Fault) Error() string {
	at := "Job " + f.Job
	if f.Stream != "" {
		at += fmt.Sprintf(", entry %d of device %s", f.Seq, f.Stream)
	}
	return at + ": " + f.Says
}

// chains looks whether the entries of a job are what their devices wrote: each
// stream without a gap, each entry linked to all before it, and all that a
// signature covers there. Streams come one after the other.
type chains struct {
	job    string
	at     branch
	heads  map[string][]daylog.Head // of each stream after each entry, from its first
	all    []branch
	sealed []sealed
	marks  map[daylog.Date]store.Mark
}

// branch is a stream: of what it was said to be, and how far it has been read.
type branch struct {
	name, parent string
	first, last  int64
	head, after  daylog.Head // after the last, before the first
}

func (b *branch) device() string {
	device, _, _ := strings.Cut(b.name, "~")
	return device
}

// sealed is an entry that covers others with their chain heads.
type sealed struct {
	stream string
	seq    int64
	vector daylog.Heads
}

func newChains(job string) *chains {
	return &chains{job: job, heads: map[string][]daylog.Head{}, marks: map[daylog.Date]store.Mark{}}
}

func (c *chains) fault(seq int64, format string, args ...any) error {
	return &Fault{c.job, c.at.name, seq, fmt.Sprintf(format, args...)}
}

// begin begins a stream. Its first entry says from which head it goes on.
func (c *chains) begin(name, parent string, first int64, after daylog.Head) error {
	c.at = branch{name: name, parent: parent, first: first, last: first - 1, head: after, after: after}
	switch _, twice := c.heads[name]; {
	case twice:
		return c.fault(first, "the stream is there twice")
	case parent == "" && (first != 1 || after != daylog.ChainStart(c.job, c.at.device()) || name != c.at.device()):
		return c.fault(first, "the stream does not begin where its device began")
	case parent != "" && (first < 1 || name == c.at.device()):
		return c.fault(first, "the stream cannot have left another there")
	}
	c.heads[name] = nil
	return nil
}

// entry takes the next entry of the stream.
func (c *chains) entry(raw []byte) (daylog.Entry, error) {
	seq := c.at.last + 1
	e, err := daylog.Decode(raw)
	switch {
	case err != nil:
		return e, c.fault(seq, "it is no entry any more: %v", err)
	case e.Job != c.job:
		return e, c.fault(seq, "it is an entry of job %s", e.Job)
	case e.Device != c.at.device():
		return e, c.fault(seq, "it was written by another device, %s", e.Device)
	case e.Seq != seq:
		return e, c.fault(seq, "entry %d is in its place", e.Seq)
	case e.Prev != c.at.head.Prev():
		return e, c.fault(seq, "it does not follow what is before it: one of the two, or one further back, was changed")
	}
	if c.at.parent != "" && seq == c.at.first && c.at.name != daylog.BranchName(e.Device, daylog.Hash(raw)) {
		return e, c.fault(seq, "its branch has the name of another entry")
	}
	c.at.last, c.at.head = seq, c.at.head.Next(raw)
	c.heads[c.at.name] = append(c.heads[c.at.name], c.at.head)
	c.marks[e.Day] = c.marks[e.Day].And(store.Mark{Day: e.Day, Count: 1, Sum: daylog.Hash(raw)})
	switch b := e.Body.(type) {
	case *daylog.Sign:
		c.sealed = append(c.sealed, sealed{c.at.name, seq, b.Vector})
	case *daylog.Accepted:
		c.sealed = append(c.sealed, sealed{c.at.name, seq, b.Vector})
	}
	return e, nil
}

// end ends the stream, which was said to reach that far.
func (c *chains) end(reach daylog.Reach) error {
	if c.at.last != reach.Seq {
		return c.fault(c.at.last+1, "the stream ends at %d and should reach %d", c.at.last, reach.Seq)
	}
	if c.at.head != reach.Head {
		return c.fault(c.at.last, "it is not what was written down last on its stream")
	}
	if c.at.last < c.at.first {
		return c.fault(c.at.first, "the stream is empty")
	}
	c.all = append(c.all, c.at)
	return nil
}

// headAt gives the chain head of a stream after an entry.
func (c *chains) headAt(name string, seq int64) (daylog.Head, bool) {
	for _, b := range c.all {
		if b.name == name && seq >= b.first && seq <= b.last {
			return c.heads[name][seq-b.first], true
		}
	}
	return daylog.Head{}, false
}

// follows reports whether an entry has its place after one that was read, or as
// the first of its device.
func (c *chains) follows(e *daylog.Entry) bool {
	if e.Seq == 1 {
		return e.Prev == daylog.ChainStart(c.job, e.Device).Prev()
	}
	return slices.ContainsFunc(c.all, func(b branch) bool {
		head, ok := c.headAt(b.name, e.Seq-1)
		return ok && b.device() == e.Device && head.Prev() == e.Prev
	})
}

// finish looks at what holds between the streams, when all have been read.
func (c *chains) finish() error {
	for _, b := range c.all {
		if b.parent == "" {
			continue
		}
		c.at = b
		if head, ok := c.headAt(b.parent, b.first-1); !(ok && head == b.after) && !(b.first == 1 && b.after == daylog.ChainStart(c.job, b.device())) {
			return c.fault(b.first, "the branch does not leave %s where it says", b.parent)
		}
	}
	for _, s := range c.sealed {
		c.at.name = s.stream
		for _, name := range slices.Sorted(maps.Keys(s.vector)) {
			if err := c.covers(s, name, s.vector[name]); err != nil {
				return err
			}
		}
	}
	return nil
}

// covers looks whether what an entry covers of one stream is there. After a
// fork the stream may have another name.
func (c *chains) covers(s sealed, name string, reach daylog.Reach) error {
	device, _, _ := strings.Cut(name, "~")
	furthest := int64(0)
	for _, b := range c.all {
		if b.device() != device {
			continue
		}
		furthest = max(furthest, b.last)
		if reach.Seq >= b.first && reach.Seq <= b.last && c.heads[b.name][reach.Seq-b.first] == reach.Head {
			return nil
		}
	}
	if furthest < reach.Seq {
		return &Fault{c.job, name, furthest + 1, fmt.Sprintf("it is missing: entry %d of device %s signs for entries up to %d, and the last one here is %d. "+
			"If this server was restored, the tablets bring them back", s.seq, s.stream, reach.Seq, furthest)}
	}
	return &Fault{c.job, name, reach.Seq, fmt.Sprintf("it, or one before it, is not what entry %d of device %s signed for", s.seq, s.stream)}
}

// Walker is a log that shows all that it keeps, as sqlite.Reader does.
type Walker interface {
	Walk(ctx context.Context, job string, begin func(store.Kept) error, row func(store.Row) error) error
}

// VerifyJob looks whether all that a log keeps of a job fits: every entry to
// the others, and what stands beside them to the entries. It gives how many
// entries there are, and a *Fault for the first that does not fit.
func VerifyJob(ctx context.Context, log Walker, job string) (entries int, err error) {
	c := newChains(job)
	var kept store.Kept
	unread := map[string]daylog.Branch{}
	open := false
	end := func() error {
		if !open {
			return nil
		}
		open = false
		b := unread[c.at.name]
		delete(unread, b.Name)
		return c.end(daylog.Reach{Seq: b.Seq, Head: b.Head})
	}
	// early are the entries of branches that come before what they left.
	early := map[string][]store.Row{}
	take := func(row store.Row) error {
		if !open || row.Stream != c.at.name {
			if err := end(); err != nil {
				return err
			}
			b, ok := unread[row.Stream]
			if !ok {
				return &Fault{job, row.Stream, row.Seq, "its stream is not among those of the job"}
			}
			head := daylog.ChainStart(job, deviceOf(b.Name))
			if b.Parent != "" && b.From > 1 {
				if _, wait := unread[b.Parent]; wait && b.Parent != b.Name {
					early[b.Name] = append(early[b.Name], row)
					return nil
				}
				at, ok := c.headAt(b.Parent, b.From-1)
				if !ok {
					return &Fault{job, b.Name, b.From, "the stream it left, " + b.Parent + ", does not reach so far"}
				}
				head = at
			}
			open = true
			if err := c.begin(b.Name, b.Parent, b.From, head); err != nil {
				return err
			}
		}
		e, err := c.entry(row.Raw)
		if err != nil {
			return err
		}
		entries++
		if hash := daylog.Hash(row.Raw); e.Seq != row.Seq || e.ID != row.ID || e.Day != row.Day || e.Tick != row.Tick || hash != row.Hash || c.at.head != row.Head {
			return c.fault(e.Seq, "what stands beside it in the database is of another entry")
		}
		return nil
	}
	err = log.Walk(ctx, job, func(k store.Kept) error {
		kept = k
		for _, b := range k.Branches {
			unread[b.Name] = b
		}
		return nil
	}, take)
	if err == nil {
		err = end()
	}
	for more := true; err == nil && more; {
		more = false
		for _, name := range slices.Sorted(maps.Keys(early)) {
			if _, wait := unread[unread[name].Parent]; wait {
				continue
			}
			more = true
			for _, row := range early[name] {
				if err == nil {
					err = take(row)
				}
			}
			if delete(early, name); err == nil {
				err = end()
			}
		}
	}
	if err != nil {
		return entries, err
	}
	for _, name := range slices.Sorted(maps.Keys(unread)) {
		return entries, &Fault{job, name, unread[name].From, "the whole stream is missing"}
	}
	if err := c.finish(); err != nil {
		return entries, err
	}
	for _, w := range kept.Waiting {
		if e, err := daylog.Decode(w.Raw); err != nil || daylog.Hash(w.Raw) != w.Hash || e.Job != job || e.Device != w.Stream || e.Seq != w.Seq {
			return entries, &Fault{job, w.Stream, w.Seq, "it waits for one before it, and was changed"}
		}
	}
	marks := slices.SortedFunc(maps.Values(c.marks), func(a, b store.Mark) int { return cmp.Compare(a.Day, b.Day) })
	if !slices.Equal(marks, kept.Marks) {
		for i := range max(len(marks), len(kept.Marks)) {
			if i >= len(marks) || i >= len(kept.Marks) || marks[i] != kept.Marks[i] {
				m := append(marks, kept.Marks...)[min(i, len(marks)+len(kept.Marks)-1)]
				return entries, &Fault{Job: job, Says: fmt.Sprintf("the entries of %s are not those that its day was counted from", m.Day)}
			}
		}
	}
	return entries, nil
}

func deviceOf(stream string) string {
	device, _, _ := strings.Cut(stream, "~")
	return device
}
