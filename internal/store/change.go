package store

import (
	"bytes"
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	"duskline/internal/daylog"
)

// Row is an entry with what is kept beside its bytes.
type Row struct {
	Stream string // of a waiting entry: its device
	Seq    int64
	ID     string
	Day    daylog.Date
	Tick   int64
	Hash   daylog.Head
	Head   daylog.Head // the chain head after it; unset while it waits
	Raw    []byte
}

// Kept is what a storage keeps of one job beside its entries, for whoever looks
// whether it fits them.
type Kept struct {
	Branches []daylog.Branch
	Waiting  []Row // Stream, Seq, Hash and Raw
	Marks    []Mark
}

// Held is what a storage holds of one job, as read inside the transaction that
// will keep the change.
type Held interface {
	// Tick is the highest tick held, 0 for none.
	Tick() (int64, error)
	// Branches gives the branches of a device.
	Branches(device string) ([]daylog.Branch, error)
	// Waiting gives a device's entries that wait: Seq, Hash and Raw.
	Waiting(device string) ([]Row, error)
	// Span gives those of a stream's entries that have a seq from first to
	// last, in order: Seq, Hash, Head and Raw.
	Span(stream string, first, last int64) ([]Row, error)
	// Known gives the entries held with one of these ids; of several with one
	// id the earliest by tick, stream and seq.
	Known(ids []string) (map[string]daylog.Entry, error)
}

// Change is what a storage has to keep of one job, all of it or nothing.
type Change struct {
	Device   string // that wrote; "" if Number did not make the change
	Renewed  bool   // Device is new: the storage's own from now on
	Renamed  []Renamed
	Placed   []Row                      // new entries given out from now on, by stream and seq
	Arrived  []Row                      // waiting before, now among Placed
	Waiting  []Row                      // new ones that wait
	Branches map[string][]daylog.Branch // by device: all its branches from now on
	Marks    []Mark                     // to be added to those of the day
	Tick     int64                      // the highest in the change
	Forks    []string                   // branches that are new
}

// Renamed is an entry that is on another stream from now on: on a branch that
// was not there before.
type Renamed struct {
	From string
	Seq  int64
	Hash daylog.Head
	To   string
}

// Empty reports whether there is nothing to keep.
func (c *Change) Empty() bool {
	return len(c.Placed) == 0 && len(c.Waiting) == 0
}

// FirstDay is the earliest day that got an entry; openings of later days no
// longer hold. ok is false if none did.
func (c *Change) FirstDay() (day daylog.Date, ok bool) {
	if len(c.Marks) == 0 {
		return "", false
	}
	return c.Marks[0].Day, true
}

func (c *Change) mark() {
	marks := map[daylog.Date]*Mark{}
	for i := range c.Placed {
		r := &c.Placed[i]
		m := marks[r.Day]
		if m == nil {
			m = &Mark{Day: r.Day}
			marks[r.Day] = m
		}
		*m = m.And(Mark{Day: r.Day, Count: 1, Sum: r.Hash})
		c.Tick = max(c.Tick, r.Tick)
	}
	for _, r := range c.Waiting {
		c.Tick = max(c.Tick, r.Tick)
	}
	for _, day := range slices.Sorted(maps.Keys(marks)) {
		c.Marks = append(c.Marks, *marks[day])
	}
}

// Number makes entries of drafts: the next ones of a device, or of a new
// device where another storage is found to write under the same id. It gives
// the entries in the order of the drafts, those already held among them.
func Number(h Held, job, device string, drafts []daylog.Entry) ([]daylog.Entry, Change, error) {
	c := Change{Device: device}
	if err := checkJob(job); err != nil {
		return nil, c, err
	}
	ids := make([]string, len(drafts))
	for i := range drafts {
		if err := checkDraft(&drafts[i]); err != nil {
			return nil, c, err
		}
		ids[i] = drafts[i].ID
	}
	known, err := h.Known(ids)
	if err != nil {
		return nil, c, err
	}
	entries := make([]daylog.Entry, len(drafts))
	if len(known) == len(drafts) {
		for i, id := range ids {
			entries[i] = known[id]
		}
		return entries, c, nil
	}

	line := daylog.Branch{Name: device, From: 1, Head: daylog.ChainStart(job, device)}
	branches, err := h.Branches(device)
	if err != nil {
		return nil, c, err
	}
	waiting, err := h.Waiting(device)
	if err != nil {
		return nil, c, err
	}
	switch {
	case len(branches) > 1 || len(waiting) > 0:
		// Somebody else holds later entries of this device: to go on would
		// make a branch of every entry from here.
		c.Device, c.Renewed = NewDevice(), true
		line = daylog.Branch{Name: c.Device, From: 1, Head: daylog.ChainStart(job, c.Device)}
	case len(branches) == 1:
		line = branches[0]
	}
	tick, err := h.Tick()
	if err != nil {
		return nil, c, err
	}
	at := make(map[string]int, len(drafts)) // where an id of this write is
	c.Placed = make([]Row, 0, len(drafts)-len(known))
	for i, e := range drafts {
		if kept, ok := known[e.ID]; ok {
			entries[i] = kept
			continue
		}
		if k, ok := at[e.ID]; ok {
			entries[i] = entries[k]
			continue
		}
		tick++
		e.Job, e.Device, e.Stream = job, c.Device, c.Device
		e.Seq, e.Tick, e.Prev = line.Seq+1, tick, line.Head.Prev()
		raw, err := daylog.Encode(&e)
		if err != nil {
			return nil, c, err
		}
		line.Seq, line.Head = e.Seq, line.Head.Next(raw)
		c.Placed = append(c.Placed, Row{
			Stream: line.Name, Seq: e.Seq, ID: e.ID, Day: e.Day, Tick: e.Tick,
			Hash: daylog.Hash(raw), Head: line.Head, Raw: raw,
		})
		entries[i], at[e.ID] = e, i
	}
	c.Branches = map[string][]daylog.Branch{c.Device: {line}}
	c.mark()
	return entries, c, nil
}

// Sort puts entries that were written elsewhere where they belong among those
// held, exactly as daylog.Thread does with the whole set.
func Sort(h Held, job string, raws [][]byte) (Change, error) {
	var c Change
	if err := checkJob(job); err != nil {
		return c, err
	}
	byDevice := map[string][]*arrival{}
	seen := make(map[daylog.Head]bool, len(raws))
	for _, raw := range raws {
		hash := daylog.Hash(raw)
		if seen[hash] {
			continue
		}
		seen[hash] = true
		a := &arrival{row: Row{Hash: hash, Raw: raw}, fresh: true}
		if err := a.read(); err != nil {
			return c, err
		}
		if a.entry.Job != job {
			return c, fmt.Errorf("entry %s is of job %q, not %q", a.row.ID, a.entry.Job, job)
		}
		byDevice[a.entry.Device] = append(byDevice[a.entry.Device], a)
	}
	for _, device := range slices.Sorted(maps.Keys(byDevice)) {
		if err := c.sort(h, job, device, byDevice[device]); err != nil {
			return Change{}, err
		}
	}
	slices.Sort(c.Forks)
	c.mark()
	return c, nil
}

// arrival is an entry that looks for its place: one that comes in, or one that
// waited.
type arrival struct {
	row   Row
	entry daylog.Entry
	fresh bool
}

func (a *arrival) read() error {
	if a.entry.Device != "" {
		return nil
	}
	if bytes.IndexByte(a.row.Raw, '\n') >= 0 {
		return fmt.Errorf("%w: it is not on one line", daylog.ErrUnreadable)
	}
	e, err := daylog.Decode(a.row.Raw)
	if err != nil {
		return err
	}
	a.entry = e
	a.row = Row{Stream: e.Device, Seq: e.Seq, ID: e.ID, Day: e.Day, Tick: e.Tick, Hash: a.row.Hash, Raw: a.row.Raw}
	return nil
}

// sort puts the arrivals of one device in place. As long as a device has one
// line only, its end and what overlaps are looked at; else all of it.
func (c *Change) sort(h Held, job, device string, arrivals []*arrival) error {
	branches, err := h.Branches(device)
	if err != nil {
		return err
	}
	waiting, err := h.Waiting(device)
	if err != nil {
		return err
	}
	waits := make(map[daylog.Head]bool, len(waiting))
	for _, r := range waiting {
		waits[r.Hash] = true
	}
	arrivals = slices.DeleteFunc(arrivals, func(a *arrival) bool { return waits[a.row.Hash] })
	if len(branches) > 1 {
		return c.thread(h, job, device, branches, waiting, arrivals)
	}
	line := daylog.Branch{Name: device, From: 1, Head: daylog.ChainStart(job, device)}
	if len(branches) == 1 {
		line = branches[0]
	}
	arrivals, forked, err := overlap(h, job, line, arrivals)
	if err != nil {
		return err
	}
	if forked {
		return c.thread(h, job, device, branches, waiting, arrivals)
	}

	bySeq := make(map[int64][]*arrival, len(arrivals)+len(waiting))
	for _, a := range arrivals {
		bySeq[a.row.Seq] = append(bySeq[a.row.Seq], a)
	}
	for _, r := range waiting {
		bySeq[r.Seq] = append(bySeq[r.Seq], &arrival{row: r})
	}
	var placed []Row
	var arrived []Row
	done := map[daylog.Head]bool{}
	for {
		var next *arrival
		for _, a := range bySeq[line.Seq+1] {
			if err := a.read(); err != nil {
				return err
			}
			if a.entry.Prev != line.Head.Prev() {
				continue
			}
			if next != nil {
				return c.thread(h, job, device, branches, waiting, arrivals)
			}
			next = a
		}
		if next == nil {
			break
		}
		line.Seq, line.Head = next.row.Seq, line.Head.Next(next.row.Raw)
		next.row.Head = line.Head
		placed = append(placed, next.row)
		done[next.row.Hash] = true
		if !next.fresh {
			arrived = append(arrived, next.row)
		}
	}
	for _, a := range arrivals {
		if !done[a.row.Hash] {
			c.Waiting = append(c.Waiting, a.row)
		}
	}
	c.Placed = append(c.Placed, placed...)
	c.Arrived = append(c.Arrived, arrived...)
	if len(placed) > 0 {
		c.setBranches(device, []daylog.Branch{line})
	}
	return nil
}

func (c *Change) setBranches(device string, branches []daylog.Branch) {
	if c.Branches == nil {
		c.Branches = map[string][]daylog.Branch{}
	}
	c.Branches[device] = branches
}

// overlap drops the arrivals that the line holds and tells whether one of the
// others leaves it.
func overlap(h Held, job string, line daylog.Branch, arrivals []*arrival) (fresh []*arrival, forked bool, err error) {
	first, last := line.Seq+1, int64(0)
	for _, a := range arrivals {
		if a.row.Seq <= line.Seq {
			first, last = min(first, a.row.Seq), max(last, a.row.Seq)
		}
	}
	if last == 0 {
		return arrivals, false, nil
	}
	rows, err := h.Span(line.Name, first-1, last)
	if err != nil {
		return nil, false, err
	}
	held := make(map[int64]Row, len(rows)+1)
	for _, r := range rows {
		held[r.Seq] = r
	}
	held[0] = Row{Head: daylog.ChainStart(job, line.Name)}
	for _, a := range arrivals {
		if a.row.Seq <= line.Seq {
			if held[a.row.Seq].Hash == a.row.Hash {
				continue
			}
			forked = forked || held[a.row.Seq-1].Head.Prev() == a.entry.Prev
		}
		fresh = append(fresh, a)
	}
	return fresh, forked, nil
}

// thread puts all entries of a forked device on their branches anew.
func (c *Change) thread(h Held, job, device string, branches []daylog.Branch, waiting []Row, arrivals []*arrival) error {
	var raws [][]byte
	held := map[daylog.Head]Row{}
	for _, b := range branches {
		rows, err := h.Span(b.Name, b.From, b.Seq)
		if err != nil {
			return err
		}
		for _, r := range rows {
			r.Stream = b.Name
			held[r.Hash] = r
			raws = append(raws, r.Raw)
		}
	}
	waited := map[daylog.Head]bool{}
	for _, r := range waiting {
		waited[r.Hash] = true
		raws = append(raws, r.Raw)
	}
	for _, a := range arrivals {
		raws = append(raws, a.row.Raw)
	}
	t, err := daylog.Thread(job, raws)
	if err != nil {
		return err
	}

	type place struct {
		stream string
		seq    int64
	}
	at := make(map[place]*daylog.Entry, len(t.Entries))
	for i := range t.Entries {
		e := &t.Entries[i]
		at[place{e.Stream, e.Seq}] = e
	}
	heads := map[place]daylog.Head{}
	byName := map[string]daylog.Branch{}
	for _, b := range t.Branches {
		byName[b.Name] = b
	}
	// headAt is the chain head after an entry. Entries held have theirs.
	var headAt func(b daylog.Branch, seq int64) daylog.Head
	headAt = func(b daylog.Branch, seq int64) daylog.Head {
		p := place{b.Name, seq}
		if head, ok := heads[p]; ok {
			return head
		}
		var before daylog.Head
		switch {
		case seq == 1:
			before = daylog.ChainStart(job, device)
		case seq == b.From:
			before = headAt(byName[b.Parent], seq-1)
		default:
			before = headAt(b, seq-1)
		}
		heads[p] = before.Next(at[p].Raw())
		return heads[p]
	}
	for _, b := range slices.SortedFunc(slices.Values(t.Branches), func(x, y daylog.Branch) int { return int(x.From - y.From) }) {
		for seq := b.From; seq <= b.Seq; seq++ {
			p := place{b.Name, seq}
			e := at[p]
			hash := daylog.Hash(e.Raw())
			if r, ok := held[hash]; ok {
				heads[p] = r.Head
				if r.Stream != e.Stream {
					c.Renamed = append(c.Renamed, Renamed{From: r.Stream, Seq: seq, Hash: hash, To: e.Stream})
				}
				continue
			}
			r := Row{Stream: e.Stream, Seq: seq, ID: e.ID, Day: e.Day, Tick: e.Tick, Hash: hash, Head: headAt(b, seq), Raw: e.Raw()}
			c.Placed = append(c.Placed, r)
			if waited[hash] {
				c.Arrived = append(c.Arrived, r)
			}
		}
	}
	still := map[daylog.Head]bool{}
	for _, raw := range t.Waiting {
		still[daylog.Hash(raw)] = true
	}
	for _, a := range arrivals {
		if still[a.row.Hash] {
			c.Waiting = append(c.Waiting, a.row)
		}
	}
	before := map[string]bool{}
	for _, b := range branches {
		before[b.Name] = true
	}
	for _, b := range t.Branches {
		if strings.Contains(b.Name, "~") && !before[b.Name] {
			c.Forks = append(c.Forks, b.Name)
		}
	}
	c.setBranches(device, t.Branches)
	return nil
}

// Entry reads the row's bytes.
func (r *Row) Entry() (daylog.Entry, error) {
	e, err := daylog.Decode(r.Raw)
	if err != nil {
		return e, fmt.Errorf("entry %s held on stream %s: %w", r.ID, r.Stream, err)
	}
	e.Stream = r.Stream
	return e, nil
}

// Earlier reports whether of two entries with one id this is the one that
// counts as held first: by tick, stream and seq.
func (r *Row) Earlier(o *Row) bool {
	return cmp.Or(cmp.Compare(r.Tick, o.Tick), cmp.Compare(r.Stream, o.Stream), cmp.Compare(r.Seq, o.Seq)) < 0
}
