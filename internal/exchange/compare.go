package exchange

import (
	"context"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"slices"
	"strconv"
	"strings"

	"duskline/internal/daylog"
	"duskline/internal/store"
)

// digest stands for the heads of jobs: equal digests, equal entries.
func digest(heads map[string]daylog.Heads) string {
	sum := sha256.New()
	text := func(s string) {
		fmt.Fprintf(sum, "%d:%s", len(s), s)
	}
	for _, job := range slices.Sorted(maps.Keys(heads)) {
		text(job)
		for _, stream := range slices.Sorted(maps.Keys(heads[job])) {
			reach := heads[job][stream]
			text(stream)
			text(strconv.FormatInt(reach.Seq, 10))
			sum.Write(reach.Head[:])
		}
		text("")
	}
	return short(sum.Sum(nil))
}

func deviceOf(stream string) string {
	device, _, _ := strings.Cut(stream, "~")
	return device
}

// stretch is a part of a stream that one side has and the other has not.
type stretch struct {
	job, stream string
	after, last int64
	// sure is how many entries go at once, so that at least one of them is new
	// to the other side.
	sure int
	// alone: nothing else goes with it.
	alone bool
}

func (s stretch) len() int { return int(s.last - s.after) }

// other is what one side knows of how far the other holds a job.
type other struct {
	heads  daylog.Heads
	trails trails
	past   map[string]int64
}

// missing tells which parts of a job the other side lacks. Where a device has
// forked and the other side holds another line of it, only trails can tell;
// unclear names such devices of which there is none.
func missing(ctx context.Context, log store.Log, job string, ours daylog.Heads, o other) (parts []stretch, unclear []string, err error) {
	theirs := map[string]bool{} // devices of which they hold something
	for stream := range o.heads {
		theirs[deviceOf(stream)] = true
	}
	trailed := map[string]bool{}
	for stream := range o.trails {
		trailed[deviceOf(stream)] = true
	}
	doubt := map[string]bool{}
	for _, stream := range slices.Sorted(maps.Keys(ours)) {
		device, last := deviceOf(stream), ours[stream].Seq
		part := stretch{job: job, stream: stream, last: last, sure: 1}
		reach, held := o.heads[stream]
		switch {
		case held && reach == ours[stream]:
			continue
		case !theirs[device]:
			first, err := entryAfter(ctx, log, job, stream, 0)
			if err != nil {
				return nil, nil, err
			}
			part.after = first.Seq - 1
		case trailed[device]:
			if part.after, err = o.trails.meet(ctx, log, job, stream, ours[stream]); err != nil {
				return nil, nil, err
			}
			part.sure = overlap + 1
		case o.past[stream] > 0:
			part.after = max(o.past[stream], reach.Seq)
		case !held || reach.Seq == last:
			doubt[device] = true
			continue
		case reach.Seq > last:
			continue // if it is another line, they will notice
		default:
			next, err := entryAfter(ctx, log, job, stream, reach.Seq)
			if err != nil {
				return nil, nil, err
			}
			if next.Seq != reach.Seq+1 || next.Prev != reach.Head.Prev() {
				doubt[device] = true
				continue
			}
			part.after = reach.Seq
		}
		if part.after < last {
			parts = append(parts, part)
		}
	}
	// Of a device in doubt all lines wait for the trail.
	parts = slices.DeleteFunc(parts, func(s stretch) bool { return doubt[deviceOf(s.stream)] })
	return parts, slices.Sorted(maps.Keys(doubt)), nil
}

// lacks reports whether theirs shows entries that ours does not.
func lacks(ours, theirs daylog.Heads, past map[string]int64) bool {
	for stream, reach := range theirs {
		o := ours[stream]
		if reach.Seq > max(o.Seq, past[stream]) || reach.Seq == o.Seq && reach.Head != o.Head {
			return true
		}
	}
	return false
}

// entryAfter reads the first entry of a stream with a seq above after.
func entryAfter(ctx context.Context, log store.Log, job, stream string, after int64) (daylog.Entry, error) {
	raws, err := log.Stream(ctx, job, stream, after, 1)
	if err != nil {
		return daylog.Entry{}, err
	}
	if len(raws) == 0 {
		return daylog.Entry{}, fmt.Errorf("stream %s of job %s has nothing after %d: %w", stream, job, after, fs.ErrNotExist)
	}
	return daylog.Decode(raws[0])
}

// trailOf gives points of all lines that a log holds of a device: one at every
// seq that overlap divides, and the ends.
func trailOf(ctx context.Context, log store.Log, job, device string, heads daylog.Heads) (trails, error) {
	all := trails{}
	for stream, reach := range heads {
		if deviceOf(stream) != device {
			continue
		}
		first, err := entryAfter(ctx, log, job, stream, 0)
		if err != nil {
			return nil, err
		}
		points := map[int64]string{reach.Seq: reach.Head.Prev()}
		for seq := (first.Seq + overlap - 1) / overlap * overlap; seq < reach.Seq; seq += overlap {
			next, err := entryAfter(ctx, log, job, stream, seq)
			if err != nil {
				return nil, err
			}
			points[seq] = next.Prev
		}
		all[stream] = points
	}
	return all, nil
}

// meet gives the highest seq up to which a stream is known to be on one of the
// trails; before the stream's first entry if it is on none.
func (t trails) meet(ctx context.Context, log store.Log, job, stream string, reach daylog.Reach) (int64, error) {
	first, err := entryAfter(ctx, log, job, stream, 0)
	if err != nil {
		return 0, err
	}
	points := map[int64][]string{}
	for name, trail := range t {
		if deviceOf(name) != deviceOf(stream) {
			continue
		}
		for seq, prev := range trail {
			if seq >= first.Seq && seq <= reach.Seq {
				points[seq] = append(points[seq], prev)
			}
		}
	}
	for _, seq := range slices.Backward(slices.Sorted(maps.Keys(points))) {
		prev := reach.Head.Prev()
		if seq < reach.Seq {
			next, err := entryAfter(ctx, log, job, stream, seq)
			if err != nil {
				return 0, err
			}
			prev = next.Prev
		}
		if slices.Contains(points[seq], prev) {
			return seq, nil
		}
	}
	return first.Seq - 1, nil
}

// gone reports whether a stream that was there a moment ago has another name
// now: a fork came in meanwhile, and all has to be looked at anew.
func gone(err error) bool { return errors.Is(err, fs.ErrNotExist) }

// addTrails adds the trails of devices to those of a message.
func addTrails(ctx context.Context, log store.Log, job string, heads daylog.Heads, devices []string, to *map[string]trails) error {
	for _, device := range devices {
		if _, done := (*to)[job][device]; done {
			continue
		}
		all, err := trailOf(ctx, log, job, device, heads)
		if gone(err) {
			continue
		}
		if err != nil {
			return err
		}
		if *to == nil {
			*to = map[string]trails{}
		}
		if (*to)[job] == nil {
			(*to)[job] = trails{}
		}
		maps.Copy((*to)[job], all)
	}
	return nil
}

// fill reads the parts in order and offers each entry; nth counts those of its
// part, from 0. more tells whether an entry was declined.
func fill(ctx context.Context, log store.Log, parts []stretch, offer func(p stretch, nth int, raw []byte) bool) (more bool, err error) {
	for _, p := range parts {
		for nth, after := 0, p.after; after < p.last; {
			raws, err := log.Stream(ctx, p.job, p.stream, after, int(min(groupEntries, p.last-after)))
			if gone(err) {
				return true, nil // its name has changed: next time
			}
			if err != nil {
				return false, err
			}
			if len(raws) == 0 {
				break
			}
			for _, raw := range raws {
				if !offer(p, nth, raw) {
					return true, nil
				}
				nth++
			}
			after += int64(len(raws))
		}
	}
	return false, nil
}

// reachAt is a reach at some seq of a stream. Of its head no more is known than
// what the next entry says of it.
func reachAt(ctx context.Context, log store.Log, job, stream string, seq int64) (daylog.Reach, error) {
	heads, err := log.Heads(ctx, job)
	if err != nil || heads[stream].Seq <= seq {
		return heads[stream], err
	}
	next, err := entryAfter(ctx, log, job, stream, seq)
	if err != nil {
		return daylog.Reach{}, err
	}
	reach := daylog.Reach{Seq: seq}
	first, err := base64.RawURLEncoding.DecodeString(next.Prev)
	copy(reach.Head[:], first)
	return reach, err
}
