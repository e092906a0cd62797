package exchange

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"time"

	"duskline/internal/daylog"
)

// Memory keeps what the tablet's side knows of the server between one call and
// the next. It is no truth: when it is lost, one exchange brings it back, but
// for the bytes under keys that begin with "aside/", which exist nowhere else
// on the tablet.
type Memory interface {
	// Get gives what was put last under a key, nil if nothing was.
	Get(ctx context.Context, key string) ([]byte, error)
	// Put keeps a value durably.
	Put(ctx context.Context, key string, value []byte) error
}

// memoryKey is where known is kept.
const memoryKey = "exchange"

// known is what the tablet's side knows of the server.
type known struct {
	Server string              `json:"server,omitempty"` // the device id of its log
	Build  string              `json:"build,omitempty"`  // of its program
	Jobs   map[string]knownJob `json:"jobs,omitempty"`
	// Success is the end of the last exchange after which nothing was missing
	// on either side.
	Success time.Time `json:"success,omitzero"`
	Skew    int       `json:"skew,omitempty"`
	Size    int       `json:"size,omitempty"`   // entries of the next call; 0: PushEntries
	Room    int       `json:"room,omitempty"`   // bytes of the next answer; 0: AnswerBytes
	Failed  bool      `json:"failed,omitempty"` // the last call: ask before sending
	// Folds is the digest of heads for which the folds were last compared, and
	// Compared when.
	Folds    string    `json:"folds,omitempty"`
	Compared time.Time `json:"compared,omitzero"`
	Differ   bool      `json:"differ,omitempty"` // they were not the same
}

type knownJob struct {
	Heads daylog.Heads `json:"heads"`
	// Aside are entries that did not get into the server's log, and Beyond up
	// to which seq it has got their streams nevertheless.
	Aside  []aside          `json:"aside,omitempty"`
	Beyond map[string]int64 `json:"beyond,omitempty"`
	// Bad and Past are the same for what came from the server.
	Past  map[string]int64 `json:"past,omitempty"`
	Bad   []aside          `json:"bad,omitempty"`
	Build string           `json:"build,omitempty"` // ours, when Past was noted
	Shut  string           `json:"shut,omitempty"`
	// Parked: what was sent waits at the server for someone to decide.
	Parked bool `json:"parked,omitempty"`
}

// aside is an entry that one side could not take. What follows it on its stream
// is sent all the same.
type aside struct {
	Refused
	Stream string    `json:"stream"`
	Since  time.Time `json:"since"`
	Tries  int       `json:"tries"`          // how often it failed alone while others got through
	Told   bool      `json:"told,omitempty"` // the server knows of it
}

// untold gives what the server has to be told of.
func (j *knownJob) untold() (refused []Refused) {
	for _, a := range slices.Concat(j.Aside, j.Bad) {
		if a.certain() && !a.Told {
			refused = append(refused, a.Refused)
		}
	}
	return refused
}

// told notes that the server was told.
func (j *knownJob) told(refused []Refused) {
	for _, list := range []*[]aside{&j.Aside, &j.Bad} {
		*list = slices.Clone(*list)
		for i, a := range *list {
			(*list)[i].Told = a.Told || slices.ContainsFunc(refused, func(r Refused) bool { return r.Hash == a.Hash })
		}
	}
}

// settle forgets what was aside and is through.
func (j *knownJob) settle() {
	j.Aside = slices.DeleteFunc(slices.Clone(j.Aside), func(a aside) bool { return a.Seq <= j.Heads[a.Stream].Seq })
	j.Beyond = maps.Clone(j.Beyond)
	maps.DeleteFunc(j.Beyond, func(stream string, _ int64) bool {
		return !slices.ContainsFunc(j.Aside, func(a aside) bool { return a.Stream == stream })
	})
}

const (
	// triesAlone is how often an entry has to fail by itself, while others get
	// through, until it is held to be at fault and not the link.
	triesAlone = 3
	// When it is tried again then: at once, if the server's program or its log
	// has become another.
	asideAgain       = 6 * time.Hour // the server keeps it aside
	undeliveredAgain = time.Hour     // it did not get there
)

// certain: it is the entry that is at fault.
func (a *aside) certain() bool { return a.Kept || a.Tries >= triesAlone }

func (a *aside) stuck() error {
	return fmt.Errorf("entry %d of %s does not get through: %s", a.Seq, a.Stream, a.Why)
}

// due reports whether it is to be tried again.
func (a *aside) due(now time.Time) bool {
	again := undeliveredAgain
	if a.Kept {
		again = asideAgain
	}
	return !a.certain() || now.Sub(a.Since) >= again
}

func (c *Client) recall(ctx context.Context) (known, error) {
	k := known{}
	text, err := c.Memory.Get(ctx, memoryKey)
	if err != nil {
		return k, fmt.Errorf("what is known of the server: %w", err)
	}
	if len(text) > 0 && json.Unmarshal(text, &k) != nil {
		k = known{} // of another time: an exchange brings it back
	}
	if k.Jobs == nil {
		k.Jobs = map[string]knownJob{}
	}
	return k, nil
}

func (c *Client) remember(ctx context.Context, k known) error {
	text, err := json.Marshal(k)
	if err == nil {
		err = c.Memory.Put(ctx, memoryKey, text)
	}
	if err != nil {
		return fmt.Errorf("remember what the server has: %w", err)
	}
	return nil
}

// State is how safe the entries of a tablet are, as far as it knows.
type State struct {
	// Unsent is how many entries the server is not known to hold, and Oldest
	// when the oldest of them was written down.
	Unsent int
	Oldest time.Time
	// Success is the end of the last exchange after which nothing was missing
	// on either side; zero: never.
	Success time.Time
	// Skew is how many seconds the device must add to its clock.
	Skew int
	// Refused are the entries that one side could not take. They are kept as
	// they are, and the others travel on.
	Refused []Refused
	// Parked: this tablet is no longer admitted; what it sends is put by for
	// someone in the office to decide.
	Parked bool
	// Shut gives for jobs that the server does not exchange with this tablet
	// the reason.
	Shut map[string]string
	// FoldsDiffer: the server holds the same entries and makes something else
	// of them. That is a fault of the program, and has to be reported.
	FoldsDiffer bool
}

// State says how things stand, without calling the server.
func (c *Client) State(ctx context.Context) (State, error) {
	k, err := c.recall(ctx)
	if err != nil {
		return State{}, err
	}
	return c.state(ctx, k)
}

func (c *Client) state(ctx context.Context, k known) (State, error) {
	s := State{Success: k.Success, Skew: k.Skew, FoldsDiffer: k.Differ}
	jobs, err := c.Log.Jobs(ctx)
	if err != nil {
		return s, err
	}
	for _, job := range jobs {
		j := k.Jobs[job]
		heads, err := c.Log.Heads(ctx, job)
		if err != nil {
			return s, err
		}
		s.Parked = s.Parked || j.Parked
		if j.Shut != "" {
			if s.Shut == nil {
				s.Shut = map[string]string{}
			}
			s.Shut[job] = j.Shut
		}
		for stream, reach := range heads {
			n, made, err := c.unsent(ctx, job, stream, reach, j)
			if gone(err) {
				continue // a fork is coming in
			}
			if err != nil {
				return s, err
			}
			s.Unsent += n
			if n > 0 && (s.Oldest.IsZero() || made.Before(s.Oldest)) {
				s.Oldest = made
			}
		}
	}
	for _, j := range k.Jobs {
		for _, a := range j.Aside {
			if a.certain() {
				s.Refused = append(s.Refused, a.Refused)
			}
		}
		for _, a := range j.Bad {
			s.Refused = append(s.Refused, a.Refused)
		}
	}
	return s, nil
}

// Leave calls drop with what this log holds of a job, if the server is known to
// hold all of it, and then forgets what it knew of the server's; else it does
// nothing and gives how many entries the server is not known to hold.
func (c *Client) Leave(ctx context.Context, job string, drop func(held daylog.Heads) error) (unsent int, err error) {
	c.turn.Lock()
	defer c.turn.Unlock()
	k, err := c.recall(ctx)
	if err != nil {
		return 0, err
	}
	held, err := c.Log.Heads(ctx, job)
	if err != nil {
		return 0, err
	}
	j := k.Jobs[job]
	for stream, reach := range held {
		n, _, err := c.unsent(ctx, job, stream, reach, j)
		if err != nil {
			return 0, err
		}
		unsent += n
	}
	unsent += len(j.Aside)
	if j.Parked {
		unsent++
	}
	if unsent > 0 {
		return unsent, nil
	}
	if err := drop(held); err != nil {
		return 0, err
	}
	delete(k.Jobs, job)
	return 0, c.remember(ctx, k)
}

// unsent counts the entries of a stream that the server is not known to hold,
// and says when the first of them was made.
func (c *Client) unsent(ctx context.Context, job, stream string, reach daylog.Reach, j knownJob) (n int, made time.Time, err error) {
	theirs, held := j.Heads[stream]
	if held && (theirs == reach || theirs.Seq > reach.Seq) {
		return 0, made, nil
	}
	from := theirs.Seq
	for _, a := range j.Aside {
		if a.Stream != stream || a.Seq <= from {
			continue
		}
		from = max(from, j.Beyond[stream])
		if !a.Kept {
			e, err := entryAfter(ctx, c.Log, job, stream, a.Seq-1)
			if err != nil {
				return 0, made, err
			}
			if n++; n == 1 || e.Made.Before(made) {
				made = e.Made
			}
		}
	}
	if from >= reach.Seq {
		if theirs.Seq == reach.Seq {
			n = 1 // the server holds another line
		}
		return n, made, nil
	}
	first, err := entryAfter(ctx, c.Log, job, stream, from)
	if err != nil {
		return 0, made, err
	}
	if n == 0 {
		made = first.Made
	}
	return n + int(reach.Seq-first.Seq) + 1, made, nil
}
