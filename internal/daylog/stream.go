package daylog

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"maps"
	"slices"
	"strings"
)

// Head is the chain value of a stream after some entry: it stands for every
// byte written on the stream up to there.
type Head [sha256.Size]byte

// ChainStart is the head of a stream before its first entry.
func ChainStart(job, device string) Head {
	return sha256.Sum256([]byte("duskline\n" + job + "\n" + device + "\n"))
}

// Next is the head after the entry with these bytes.
func (h Head) Next(raw []byte) Head {
	sum := sha256.New()
	sum.Write(h[:])
	sum.Write(raw)
	var next Head
	sum.Sum(next[:0])
	return next
}

// Prev is what the following entry carries of this head: its first 8 bytes,
// enough to tell branches apart; proofs use whole heads.
func (h Head) Prev() string { return base64.RawURLEncoding.EncodeToString(h[:8]) }

func (h Head) String() string { return base64.RawURLEncoding.EncodeToString(h[:]) }

func (h Head) MarshalText() ([]byte, error) { return []byte(h.String()), nil }

func (h *Head) UnmarshalText(text []byte) error {
	b, err := base64.RawURLEncoding.DecodeString(string(text))
	if err != nil || len(b) != len(h) {
		return fmt.Errorf("%q is not a chain head", text)
	}
	copy(h[:], b)
	return nil
}

// Hash names an entry by its bytes.
func Hash(raw []byte) Head { return sha256.Sum256(raw) }

// Reach is how far a stream is held or covered: its last seq and the head there.
type Reach struct {
	Seq  int64 `json:"seq"`
	Head Head  `json:"head"`
}

// Heads says for each stream of a job how far it is held without a gap. As
// part of a signature it is the vector of what the signature covers.
type Heads map[string]Reach

// BranchName is the name of a branch that does not continue its parent's name.
func BranchName(device string, firstEntry Head) string {
	return device + "~" + hex.EncodeToString(firstEntry[:4])
}

// Branch is one stream of a device: all of it, or after a fork one line of it.
type Branch struct {
	Name   string
	Parent string // the stream it left, "" for a device's own
	From   int64  // seq of its first entry
	Seq    int64  // seq of its last
	Head   Head   // after its last
	heads  []Head // after each of its entries
}

// Threads is a set of entries put on their streams.
type Threads struct {
	Entries  []Entry  // in order of stream and seq, Stream set
	Branches []Branch // by name
	Waiting  [][]byte // bytes whose forerunner is not in the set
}

// Heads gives how far each stream goes.
func (t Threads) Heads() Heads {
	heads := make(Heads, len(t.Branches))
	for _, b := range t.Branches {
		heads[b.Name] = Reach{b.Seq, b.Head}
	}
	return heads
}

// Thread puts a set of entries of one job on their streams. Order and
// duplicates do not matter. An entry counts once everything before it on its
// stream is in the set; until then it waits. Bytes that are no entry of the
// job are an error.
//
// After a fork the branch whose first entry has the lowest hash keeps the
// name of the common part, and each other is named by BranchName: the same
// on every copy, whatever arrived first.
func Thread(job string, raws [][]byte) (Threads, error) {
	type node struct {
		Entry
		hash Head
	}
	seen := make(map[Head]bool, len(raws))
	follows := map[string]map[string][]*node{} // device -> prev -> nodes
	for _, raw := range raws {
		hash := Hash(raw)
		if seen[hash] {
			continue
		}
		seen[hash] = true
		e, err := Decode(raw)
		if err != nil {
			return Threads{}, err
		}
		if e.Job != job {
			return Threads{}, fmt.Errorf("entry %s is of job %q, not %q", e.ID, e.Job, job)
		}
		byPrev := follows[e.Device]
		if byPrev == nil {
			byPrev = map[string][]*node{}
			follows[e.Device] = byPrev
		}
		byPrev[e.Prev] = append(byPrev[e.Prev], &node{Entry: e, hash: hash})
	}

	var t Threads
	placed := map[Head]bool{}
	var walk func(b Branch, head Head, seq int64, at []*node)
	walk = func(b Branch, head Head, seq int64, at []*node) {
		byPrev := follows[deviceOf(b.Name)]
		for {
			var here []*node
			for _, n := range at {
				if n.Seq == seq+1 {
					here = append(here, n)
				}
			}
			if len(here) == 0 {
				break
			}
			slices.SortFunc(here, func(x, y *node) int { return slices.Compare(x.hash[:], y.hash[:]) })
			for _, n := range here[1:] {
				other := Branch{Name: BranchName(n.Device, n.hash), Parent: b.Name, From: n.Seq}
				walk(other, head, seq, []*node{n})
			}
			n := here[0]
			head, seq = head.Next(n.raw), n.Seq
			n.Stream = b.Name
			placed[n.hash] = true
			t.Entries = append(t.Entries, n.Entry)
			b.Seq, b.Head, b.heads = seq, head, append(b.heads, head)
			at = byPrev[head.Prev()]
		}
		if b.Seq > 0 {
			t.Branches = append(t.Branches, b)
		}
	}
	for _, device := range slices.Sorted(maps.Keys(follows)) {
		start := ChainStart(job, device)
		walk(Branch{Name: device, From: 1}, start, 0, follows[device][start.Prev()])
	}
	for _, raw := range raws {
		if hash := Hash(raw); !placed[hash] {
			placed[hash] = true
			t.Waiting = append(t.Waiting, raw)
		}
	}
	slices.SortFunc(t.Branches, func(x, y Branch) int { return strings.Compare(x.Name, y.Name) })
	slices.SortStableFunc(t.Entries, func(x, y Entry) int {
		if c := strings.Compare(x.Stream, y.Stream); c != 0 {
			return c
		}
		return sign(x.Seq - y.Seq)
	})
	return t, nil
}

func deviceOf(stream string) string {
	device, _, _ := strings.Cut(stream, "~")
	return device
}

// covering tells which entries a vector covers. Where no device forked, seq
// decides. Where one did, the vector's head says on which line of it the
// signer stood, whatever names the lines have by now.
type covering struct {
	upTo map[string]int64 // stream -> last seq covered
}

func cover(vector Heads, forks []Branch) covering {
	c := covering{upTo: make(map[string]int64, len(vector))}
	raise := func(stream string, seq int64) { c.upTo[stream] = max(c.upTo[stream], seq) }
	byName := make(map[string]Branch, len(forks))
	for _, b := range forks {
		byName[b.Name] = b
	}
	for name, reach := range vector {
		found := false
		for _, b := range forks {
			if deviceOf(b.Name) != deviceOf(name) || reach.Seq < b.From || reach.Seq > b.Seq || b.heads[reach.Seq-b.From] != reach.Head {
				continue
			}
			found = true
			for seq := reach.Seq; ; {
				raise(b.Name, seq)
				seq = b.From - 1
				parent, more := byName[b.Parent]
				if !more {
					break
				}
				b = parent
			}
			break
		}
		if !found {
			raise(name, reach.Seq)
		}
	}
	return c
}

func (c covering) holds(e *Entry) bool { return e.Seq <= c.upTo[e.Stream] }

// forksOf threads the devices among entries that have forked.
func forksOf(job string, entries []*Entry) []Branch {
	forked := map[string]bool{}
	for _, e := range entries {
		if e.Stream != e.Device {
			forked[e.Device] = true
		}
	}
	if len(forked) == 0 {
		return nil
	}
	var raws [][]byte
	for _, e := range entries {
		if forked[e.Device] {
			raws = append(raws, e.raw)
		}
	}
	t, err := Thread(job, raws)
	if err != nil { // they were read once already
		return nil
	}
	return t.Branches
}
