package store

import (
	"context"
	"fmt"
	"io/fs"
	"maps"
	"slices"
	"strings"
	"sync"

	"duskline/internal/daylog"
)

// Memory is a Log that lasts as long as the program.
type Memory struct {
	mu     sync.RWMutex
	device string
	jobs   map[string]*memoryJob
}

// NewMemory gives an empty log with a device id of its own.
func NewMemory() *Memory {
	return &Memory{device: NewDevice(), jobs: map[string]*memoryJob{}}
}

type memoryJob struct {
	tick     int64
	streams  map[string]*memoryStream
	waiting  map[string][]Row // by device
	ids      map[string][]*Row
	marks    map[daylog.Date]Mark
	openings map[daylog.Date]daylog.Opening
}

type memoryStream struct {
	daylog.Branch
	rows []*Row // from Branch.From on
}

func (m *Memory) Device() string {
	m.mu.RLock()
	defer m.mu.RUnlock()
	return m.device
}

// job gives a job for reading; an empty one if it is not held.
func (m *Memory) job(id string) *memoryJob {
	if j, ok := m.jobs[id]; ok {
		return j
	}
	return &memoryJob{}
}

func (m *Memory) Jobs(ctx context.Context) ([]string, error) {
	m.mu.RLock()
	defer m.mu.RUnlock()
	var ids []string
	for id, j := range m.jobs {
		if len(j.streams) > 0 {
			ids = append(ids, id)
		}
	}
	slices.Sort(ids)
	return ids, ctx.Err()
}

func (m *Memory) Write(ctx context.Context, job string, drafts ...daylog.Entry) ([]daylog.Entry, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	entries, c, err := Number(m.job(job), job, m.device, drafts)
	if err != nil {
		return nil, err
	}
	m.keep(job, &c)
	return entries, nil
}

func (m *Memory) Receive(ctx context.Context, job string, raws ...[]byte) ([]string, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	c, err := Sort(m.job(job), job, raws)
	if err != nil {
		return nil, err
	}
	m.keep(job, &c)
	return c.Forks, nil
}

func (m *Memory) keep(job string, c *Change) {
	if c.Empty() {
		return
	}
	if c.Renewed {
		m.device = c.Device
	}
	j, ok := m.jobs[job]
	if !ok {
		j = &memoryJob{
			streams: map[string]*memoryStream{}, waiting: map[string][]Row{}, ids: map[string][]*Row{},
			marks: map[daylog.Date]Mark{}, openings: map[daylog.Date]daylog.Opening{},
		}
		m.jobs[job] = j
	}
	// The rows of each device whose branches change, by their hash.
	rows := map[daylog.Head]*Row{}
	if len(c.Renamed) > 0 {
		for device := range c.Branches {
			for _, s := range j.of(device) {
				for _, r := range s.rows {
					rows[r.Hash] = r
				}
				delete(j.streams, s.Name)
			}
		}
		for _, r := range c.Renamed {
			rows[r.Hash].Stream = r.To
		}
	}
	for device, branches := range c.Branches {
		for _, b := range branches {
			if s, ok := j.streams[b.Name]; ok {
				s.Branch = b
			} else {
				j.streams[b.Name] = &memoryStream{Branch: b}
			}
		}
		gone := map[daylog.Head]bool{}
		for _, r := range c.Arrived {
			gone[r.Hash] = true
		}
		j.waiting[device] = slices.DeleteFunc(j.waiting[device], func(r Row) bool { return gone[r.Hash] })
	}
	for _, r := range slices.SortedFunc(maps.Values(rows), func(a, b *Row) int { return int(a.Seq - b.Seq) }) {
		s := j.streams[r.Stream]
		s.rows = append(s.rows, r)
	}
	for i := range c.Placed {
		r := &c.Placed[i]
		s := j.streams[r.Stream]
		s.rows = append(s.rows, r)
		j.ids[r.ID] = append(j.ids[r.ID], r)
	}
	for _, r := range c.Waiting {
		j.waiting[r.Stream] = append(j.waiting[r.Stream], r)
	}
	for _, mark := range c.Marks {
		j.marks[mark.Day] = j.marks[mark.Day].And(mark)
	}
	j.tick = max(j.tick, c.Tick)
	if first, ok := c.FirstDay(); ok {
		maps.DeleteFunc(j.openings, func(day daylog.Date, _ daylog.Opening) bool { return day > first })
	}
}

// of gives the streams of a device.
func (j *memoryJob) of(device string) []*memoryStream {
	var streams []*memoryStream
	for name, s := range j.streams {
		if name == device || strings.HasPrefix(name, device+"~") {
			streams = append(streams, s)
		}
	}
	return streams
}

func (j *memoryJob) Tick() (int64, error) { return j.tick, nil }

func (j *memoryJob) Branches(device string) ([]daylog.Branch, error) {
	var branches []daylog.Branch
	for _, s := range j.of(device) {
		branches = append(branches, s.Branch)
	}
	return branches, nil
}

func (j *memoryJob) Waiting(device string) ([]Row, error) { return j.waiting[device], nil }

func (j *memoryJob) Span(stream string, first, last int64) ([]Row, error) {
	var rows []Row
	if s, ok := j.streams[stream]; ok {
		for seq := max(first, s.From); seq <= min(last, s.Seq); seq++ {
			rows = append(rows, *s.rows[seq-s.From])
		}
	}
	return rows, nil
}

func (j *memoryJob) Known(ids []string) (map[string]daylog.Entry, error) {
	known := map[string]daylog.Entry{}
	for _, id := range ids {
		var first *Row
		for _, r := range j.ids[id] {
			if first == nil || r.Earlier(first) {
				first = r
			}
		}
		if first == nil {
			continue
		}
		e, err := first.Entry()
		if err != nil {
			return nil, err
		}
		known[id] = e
	}
	return known, nil
}

func (m *Memory) Entries(ctx context.Context, job string, from daylog.Date) ([]daylog.Entry, error) {
	m.mu.RLock()
	defer m.mu.RUnlock()
	var entries []daylog.Entry
	for _, s := range m.job(job).streams {
		for _, r := range s.rows {
			if r.Day < from {
				continue
			}
			e, err := r.Entry()
			if err != nil {
				return nil, err
			}
			entries = append(entries, e)
		}
	}
	return entries, ctx.Err()
}

func (m *Memory) Marks(ctx context.Context, job string) ([]Mark, error) {
	m.mu.RLock()
	defer m.mu.RUnlock()
	marks := m.job(job).marks
	var out []Mark
	for _, day := range slices.Sorted(maps.Keys(marks)) {
		out = append(out, marks[day])
	}
	return out, ctx.Err()
}

func (m *Memory) Heads(ctx context.Context, job string) (daylog.Heads, error) {
	m.mu.RLock()
	defer m.mu.RUnlock()
	heads := daylog.Heads{}
	for name, s := range m.job(job).streams {
		heads[name] = daylog.Reach{Seq: s.Seq, Head: s.Head}
	}
	return heads, ctx.Err()
}

func (m *Memory) Stream(ctx context.Context, job, stream string, after int64, limit int) ([][]byte, error) {
	m.mu.RLock()
	defer m.mu.RUnlock()
	s, ok := m.job(job).streams[stream]
	if !ok {
		return nil, fmt.Errorf("stream %s of job %s: %w", stream, job, fs.ErrNotExist)
	}
	var raws [][]byte
	for _, r := range s.rows {
		if r.Seq > after && (limit <= 0 || len(raws) < limit) {
			raws = append(raws, r.Raw)
		}
	}
	return raws, ctx.Err()
}

func (m *Memory) Openings(ctx context.Context, job string) ([]daylog.Opening, error) {
	m.mu.RLock()
	defer m.mu.RUnlock()
	return slices.SortedFunc(maps.Values(m.job(job).openings), func(a, b daylog.Opening) int {
		return strings.Compare(string(a.Day), string(b.Day))
	}), ctx.Err()
}

func (m *Memory) KeepOpening(ctx context.Context, job string, openings ...daylog.Opening) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if err := ctx.Err(); err != nil {
		return err
	}
	j, ok := m.jobs[job]
	if !ok {
		return fmt.Errorf("opening of job %s: %w", job, fs.ErrNotExist)
	}
	for _, o := range openings {
		j.openings[o.Day] = o
	}
	days := slices.Sorted(maps.Keys(j.openings))
	for _, day := range days[:max(0, len(days)-OpeningsKept)] {
		delete(j.openings, day)
	}
	return nil
}
