package roofplan

import (
	"errors"
	"fmt"
	"sort"
	"strings"
)

// A laid sheet on its way to a Panel.
type laid struct {
	name string
	box  box
	axis Direction
}

const (
	mostPanels  = 2000
	mostMeeting = 20000 // threes of panels that overlap in one spot
	mostLapped  = 120   // panels that one panel overlaps
	mostErrors  = 8
)

// Lay derives the layout. Errors are sentences that say which panel, row or
// corner is wrong; several are joined.
func (p Plan) Lay() (*Layout, error) {
	o, err := p.outline()
	if err != nil {
		return nil, err
	}
	panels, err := p.sheets(o)
	if err != nil {
		return nil, err
	}
	laps, err := findLaps(panels)
	if err != nil {
		return nil, err
	}
	meets, err := findMeets(panels, laps)
	if err != nil {
		return nil, err
	}

	l := &Layout{
		Area:    squareFeet(float64(o.twiceArea()) / 2),
		outline: o,
		pieces:  make(map[string][]box, len(panels)),
		panels:  make(map[string]int, len(panels)),
		seams:   make(map[string]int),
		joints:  make(map[string]int),
	}
	var covered float64
	for i, s := range panels {
		pieces := uncovered(s.box, i, panels, laps[i])
		var net float64
		for _, b := range pieces {
			net += o.within(b)
		}
		covered += net
		l.pieces[s.name] = pieces
		l.panels[s.name] = i
		w, h := fromUnits(s.box.x1-s.box.x0), fromUnits(s.box.y1-s.box.y0)
		if s.axis == East {
			w, h = h, w
		}
		l.Panels = append(l.Panels, Panel{
			Name: s.name, Rect: s.box.rect(), Axis: s.axis, Width: w, Length: h,
			Net: squareFeet(net), Borders: o.borders(i, panels, laps[i]),
		})
	}
	l.Covered = squareFeet(covered)

	for i := range panels {
		for _, j := range laps[i] {
			if j < i {
				continue
			}
			s, ok := o.seam(i, j, panels, laps, meets)
			if !ok {
				continue
			}
			l.seams[s.Name] = len(l.Seams)
			l.Seams = append(l.Seams, s)
			l.Panels[i].Neighbours = append(l.Panels[i].Neighbours, s.B)
			l.Panels[j].Neighbours = append(l.Panels[j].Neighbours, s.A)
		}
	}
	l.nameJoints(panels, meets)
	return l, nil
}

// sheets gives the panels of the plan in order of names.
func (p Plan) sheets(o outline) ([]laid, error) {
	var list []laid
	var wrong []error
	add := func(name string, corner Point, w, h Length, axis Direction) {
		if err := checkPanelName(name); err != nil {
			wrong = append(wrong, fmt.Errorf("panel %s %w", shown(name), err))
			return
		}
		b := box{x0: units(corner.X), y0: units(corner.Y)}
		b.x1, b.y1 = b.x0+units(w), b.y0+units(h)
		if r := b.rect(); !near(r.Min.X) || !near(r.Min.Y) || !near(r.Max.X) || !near(r.Max.Y) {
			wrong = append(wrong, fmt.Errorf("panel %s reaches more than 10,000 ft away", name))
			return
		}
		if o.within(b) < 1 {
			wrong = append(wrong, fmt.Errorf("panel %s lies outside the roof", name))
			return
		}
		list = append(list, laid{name, b, axis})
	}
	count := len(p.Panels)
	for _, r := range p.Rows {
		count += len(r.Sheets)
	}
	if count > mostPanels {
		return nil, fmt.Errorf("the plan has %d panels; %d are the most that can be laid", count, mostPanels)
	}
	for i, r := range p.Rows {
		if err := r.check(); err != nil {
			wrong = append(wrong, fmt.Errorf("row %d %w", i+1, err))
			continue
		}
		at := r.Corner
		for k, s := range r.Sheets {
			if !given(s.Width) {
				wrong = append(wrong, fmt.Errorf("panel %s has a width of %s", shown(s.Name), s.Width))
				break
			}
			if k > 0 && (s.Width <= r.Lap || r.Sheets[k-1].Width <= r.Lap) {
				wrong = append(wrong, fmt.Errorf("panel %s: a lap of %s is as wide as a panel", shown(s.Name), r.Lap))
				break
			}
			switch r.Toward {
			case "", East:
				add(s.Name, at, s.Width, r.Length, North)
				at.X += s.Width - r.Lap
			case West:
				add(s.Name, Point{at.X - s.Width, at.Y}, s.Width, r.Length, North)
				at.X -= s.Width - r.Lap
			case North:
				add(s.Name, at, r.Length, s.Width, East)
				at.Y += s.Width - r.Lap
			case South:
				add(s.Name, Point{at.X, at.Y - s.Width}, r.Length, s.Width, East)
				at.Y -= s.Width - r.Lap
			}
		}
	}
	for _, s := range p.Panels {
		switch {
		case !given(s.Width):
			wrong = append(wrong, fmt.Errorf("panel %s has a width of %s", shown(s.Name), s.Width))
		case !given(s.Length):
			wrong = append(wrong, fmt.Errorf("panel %s has a length of %s", shown(s.Name), s.Length))
		case !near(s.Corner.X) || !near(s.Corner.Y):
			wrong = append(wrong, fmt.Errorf("panel %s lies more than 10,000 ft away", shown(s.Name)))
		case s.Turn == 0:
			add(s.Name, s.Corner, s.Width, s.Length, North)
		case s.Turn == 90:
			add(s.Name, s.Corner, s.Length, s.Width, East)
		default:
			wrong = append(wrong, fmt.Errorf("panel %s is turned by %g degrees; only 0 and 90 can be laid so far", shown(s.Name), s.Turn))
		}
	}
	sort.SliceStable(list, func(i, j int) bool { return CompareNames(list[i].name, list[j].name) < 0 })
	for i := 1; i < len(list); i++ {
		if strings.EqualFold(list[i-1].name, list[i].name) {
			wrong = append(wrong, fmt.Errorf("there are two panels %s", list[i].name))
		}
	}
	if len(wrong) > mostErrors {
		wrong = append(wrong[:mostErrors:mostErrors], fmt.Errorf("and %d more", len(wrong)-mostErrors))
	}
	return list, errors.Join(wrong...)
}

func (r Row) check() error {
	switch r.Toward {
	case "", North, East, South, West:
	default:
		return fmt.Errorf("runs toward %s; it can run north, east, south or west", shown(string(r.Toward)))
	}
	switch {
	case len(r.Sheets) == 0:
		return errors.New("has no panels")
	case !near(r.Corner.X) || !near(r.Corner.Y):
		return errors.New("lies more than 10,000 ft away")
	case !given(r.Length):
		return fmt.Errorf("has panels of a length of %s", r.Length)
	case len(r.Sheets) > 1 && !given(r.Lap):
		return fmt.Errorf("has a lap of %s; its panels must overlap", r.Lap)
	}
	return nil
}

// given reports whether l is a size that a panel can have.
func given(l Length) bool { return near(l) && units(l) > 0 }

// findLaps lists for each panel the others that it overlaps, in order.
func findLaps(panels []laid) ([][]int, error) {
	laps := make([][]int, len(panels))
	boxes := make([]box, len(panels))
	for i, p := range panels {
		boxes[i] = p.box
	}
	var err error
	sweep(boxes, func(i, j int) bool {
		if boxes[i].overlaps(boxes[j]) {
			laps[i], laps[j] = append(laps[i], j), append(laps[j], i)
			for _, k := range [2]int{i, j} {
				if len(laps[k]) > mostLapped {
					err = fmt.Errorf("panel %s overlaps more than %d others", panels[k].name, mostLapped)
				}
			}
		}
		return err == nil
	})
	for _, l := range laps {
		sort.Ints(l)
	}
	return laps, err
}

// sweep calls visit for every two boxes whose stretches from west to east have
// a point in common, until it says false.
func sweep(boxes []box, visit func(i, j int) bool) {
	order := make([]int, len(boxes))
	for i := range order {
		order[i] = i
	}
	sort.Slice(order, func(a, b int) bool { return boxes[order[a]].x0 < boxes[order[b]].x0 })
	var open []int
	for _, i := range order {
		still := open[:0]
		for _, j := range open {
			if boxes[j].x1 < boxes[i].x0 {
				continue
			}
			still = append(still, j)
			if !visit(i, j) {
				return
			}
		}
		open = append(still, i)
	}
}

// A meeting is a connected spot where three or more panels overlap.
type meeting struct {
	box    box
	panels []int // in order
}

// meets knows the spots, and which of them lie on the lap of two panels.
type meets struct {
	spots []meeting
	on    map[[2]int][]int
}

func findMeets(panels []laid, laps [][]int) (meets, error) {
	var threes [][3]int
	var boxes []box
	for i := range panels {
		for a, j := range laps[i] {
			if j < i {
				continue
			}
			lap := panels[i].box.and(panels[j].box)
			for _, k := range laps[i][a+1:] {
				if b := lap.and(panels[k].box); !b.empty() {
					threes, boxes = append(threes, [3]int{i, j, k}), append(boxes, b)
				}
			}
			if len(threes) > mostMeeting {
				return meets{}, fmt.Errorf("too many panels lie on one another at panel %s", panels[i].name)
			}
		}
	}

	// Threes that touch are one spot.
	of := make([]int, len(threes))
	for i := range of {
		of[i] = i
	}
	root := func(i int) int {
		for of[i] != i {
			of[i] = of[of[i]]
			i = of[i]
		}
		return i
	}
	sweep(boxes, func(i, j int) bool {
		if boxes[i].touches(boxes[j]) {
			a, b := root(i), root(j)
			of[max(a, b)] = min(a, b)
		}
		return true
	})

	m := meets{on: make(map[[2]int][]int)}
	spotOf := make(map[int]int)
	for t, three := range threes {
		s, ok := spotOf[root(t)]
		if !ok {
			s = len(m.spots)
			spotOf[root(t)] = s
			m.spots = append(m.spots, meeting{box: boxes[t]})
		}
		spot := &m.spots[s]
		spot.box = spot.box.around(boxes[t])
		for _, p := range three {
			spot.panels = with(spot.panels, p)
		}
		for _, pair := range [3][2]int{{three[0], three[1]}, {three[0], three[2]}, {three[1], three[2]}} {
			m.on[pair] = with(m.on[pair], s)
		}
	}
	return m, nil
}

// with adds n to a sorted list unless it is there.
func with(list []int, n int) []int {
	i := sort.SearchInts(list, n)
	if i < len(list) && list[i] == n {
		return list
	}
	list = append(list, 0)
	copy(list[i+1:], list[i:])
	list[i] = n
	return list
}

// uncovered gives what lower-numbered panels leave of a panel.
func uncovered(b box, i int, panels []laid, laps []int) []box {
	left := []box{b}
	for _, j := range laps {
		if j > i {
			break
		}
		var next []box
		for _, p := range left {
			next = p.less(panels[j].box, next)
		}
		left = next
	}
	return left
}

func (o outline) borders(i int, panels []laid, laps []int) []Border {
	var list []Border
	seen := make(map[string]int)
	for side := range o.corners {
		from, to, ok := o.reach(side, panels[i].box)
		if !ok {
			continue
		}
		left := []stretch[float64]{{from, to}}
		for _, j := range laps {
			if j > i {
				break
			}
			if f, t, ok := o.reach(side, panels[j].box); ok {
				left = without(left, f, t)
			}
		}
		var sum float64
		for _, s := range left {
			sum += s.to - s.from
		}
		if n := Inches(sum * o.length(side) / perInch); n > 0 {
			list = append(list, Border{Name: numbered(panels[i].name+"@"+o.names[side], seen), Edge: o.names[side], Length: n})
		}
	}
	return list
}

type stretch[N int64 | float64] struct{ from, to N }

// without takes from-to out of stretches.
func without[N int64 | float64](list []stretch[N], from, to N) []stretch[N] {
	var left []stretch[N]
	for _, s := range list {
		if to <= s.from || s.to <= from {
			left = append(left, s)
			continue
		}
		if s.from < from {
			left = append(left, stretch[N]{s.from, from})
		}
		if to < s.to {
			left = append(left, stretch[N]{to, s.to})
		}
	}
	return left
}

// seam makes the seam of panels a and b, a the lower, if there is one: if the
// middle of their lap, in its long direction, is anywhere free of other
// panels. Where a third panel lies on it the seam runs on to the middle of the
// T-joint. Two panels of a grid that only have a corner in common have no
// seam: their lap lies under the other two from end to end.
func (o outline) seam(a, b int, panels []laid, laps [][]int, m meets) (Seam, bool) {
	lower := panels[a]
	lap := lower.box.and(panels[b].box)
	axis := North
	if w, h := lap.x1-lap.x0, lap.y1-lap.y0; w > h || w == h && lower.axis == East {
		axis = East
	}
	run := lap.turned(axis)
	twice := run.y0 + run.y1

	free := []stretch[int64]{{run.x0, run.x1}}
	for _, k := range laps[a] {
		t := panels[k].box.turned(axis)
		if k != b && 2*t.y0 <= twice && twice < 2*t.y1 {
			free = without(free, t.x0, t.x1)
		}
	}

	// Free stretches run on to the joints.
	joined := make(map[int64]bool)
	toJoint := func(at int64) int64 {
		for _, s := range m.on[[2]int{a, b}] {
			j := m.spots[s].box.turned(axis)
			if j.x0 <= at && at <= j.x1 && 2*j.y0 <= twice && twice <= 2*j.y1 {
				at = min(max(half(j.x0+j.x1), run.x0), run.x1)
				joined[at] = true
				break
			}
		}
		return at
	}
	var spans []stretch[int64]
	for _, f := range free {
		if f.from > run.x0 {
			f.from = min(f.from, toJoint(f.from))
		}
		if f.to < run.x1 {
			f.to = max(f.to, toJoint(f.to))
		}
		if n := len(spans); n > 0 && f.from <= spans[n-1].to {
			spans[n-1].to = max(spans[n-1].to, f.to)
		} else {
			spans = append(spans, f)
		}
	}

	// Where the seam leaves the roof and comes back, only the turn-ups are sheet.
	over := o.crossings(axis, twice)
	for i := 1; i+1 < len(over); i += 2 {
		out, in := over[i], over[i+1]
		if from, to := out.at+o.turnUps[out.side], in.at-o.turnUps[in.side]; from < to {
			spans = without(spans, from, to)
		}
	}
	if len(spans) == 0 {
		return Seam{}, false
	}

	s := Seam{
		Name: SeamName(lower.name, panels[b].name), A: lower.name, B: panels[b].name,
		Axis: axis, origin: run.x0, middle: half(twice),
	}
	if axis == lower.axis {
		s.origin = lower.box.turned(axis).x0
	}
	feet := func(at int64) Length { return fromUnits(at - s.origin) }
	seen := make(map[string]int)
	end := func(at int64, side int) {
		if !joined[at] {
			edge := o.names[side]
			s.ends = append(s.ends, End{Name: numbered(s.Name+"@"+edge, seen), At: feet(at), Edge: edge})
		}
	}
	for _, sp := range spans {
		s.Spans = append(s.Spans, Span{feet(sp.from), feet(sp.to)})
		s.Length += fromUnits(sp.to - sp.from)

		// Crossings within the span; those that enter have an even place.
		first, past := len(over), 0
		for i, c := range over {
			if sp.from <= c.at && c.at <= sp.to {
				first, past = min(first, i), i+1
			}
			if sp.from < c.at && c.at < sp.to {
				s.Angles = append(s.Angles, Angle{feet(c.at), o.names[c.side]})
			}
		}
		if first >= past {
			continue
		}
		if first%2 == 0 {
			end(sp.from, over[first].side)
		}
		if last := past - 1; last%2 == 1 {
			end(sp.to, over[last].side)
		}
	}
	return s, true
}

// turned gives b with x along the axis and y across it.
func (b box) turned(axis Direction) box {
	if axis == North {
		return box{b.y0, b.x0, b.y1, b.x1}
	}
	return b
}

// half rounds toward the south and west, so that the middle of a lap is the
// same from wherever it is reckoned.
func half(n int64) int64 { return n >> 1 }

func (l *Layout) nameJoints(panels []laid, m meets) {
	for s, spot := range m.spots {
		j := Joint{Point: Point{fromUnits(half(spot.box.x0 + spot.box.x1)), fromUnits(half(spot.box.y0 + spot.box.y1))}}
		for _, p := range spot.panels {
			j.Panels = append(j.Panels, panels[p].name)
		}
		for x, a := range spot.panels {
			for _, b := range spot.panels[x+1:] {
				i, ok := l.seams[SeamName(panels[a].name, panels[b].name)]
				if !ok || !has(m.on[[2]int{a, b}], s) {
					continue
				}
				seam := &l.Seams[i]
				lap := panels[a].box.and(panels[b].box).turned(seam.Axis)
				mid := spot.box.turned(seam.Axis)
				at := min(max(half(mid.x0+mid.x1), lap.x0), lap.x1)
				j.On = append(j.On, OnSeam{seam.Name, fromUnits(at - seam.origin)})
			}
		}
		l.Joints = append(l.Joints, j)
	}
	sort.Slice(l.Joints, func(a, b int) bool {
		p, q := l.Joints[a], l.Joints[b]
		for i := range min(len(p.Panels), len(q.Panels)) {
			if c := CompareNames(p.Panels[i], q.Panels[i]); c != 0 {
				return c < 0
			}
		}
		if len(p.Panels) != len(q.Panels) {
			return len(p.Panels) < len(q.Panels)
		}
		if p.Point.X != q.Point.X {
			return p.Point.X < q.Point.X
		}
		return p.Point.Y < q.Point.Y
	})
	seen := make(map[string]int)
	for i := range l.Joints {
		j := &l.Joints[i]
		j.Name = numbered(strings.Join(j.Panels, "|"), seen)
		l.joints[j.Name] = i
	}
}

func has(list []int, n int) bool {
	i := sort.SearchInts(list, n)
	return i < len(list) && list[i] == n
}
