package exchange

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io"

	"duskline/internal/daylog"
)

// ContentType marks a call and its answer. Nothing else is either.
const ContentType = "application/vnd.duskline.exchange"

// What a message may hold.
const (
	PushEntries = 200      // entries of a call
	PushBytes   = 64 << 10 // compressed bytes of a call with more than one entry
	AnswerBytes = 1 << 20  // compressed bytes of an answer; the group that passes it is the last
	EntryBytes  = 4 << 20  // bytes of one entry
	JobsAtOnce  = 64       // jobs of a call

	groupEntries = 200      // entries between two checks
	groupBytes   = 64 << 10 // their bytes, but for the last of them
	overlap      = 64       // seqs between two points of a trail

	leastRoom = 4 << 10 // compressed bytes of an answer
)

var (
	// errBroken: bytes that are no whole message.
	errBroken = errors.New("not a whole message of the exchange")
	// errTooLarge: a message beyond what is read.
	errTooLarge = errors.New("larger than a message may be")
)

// hello is the first line of a message.
type hello struct {
	Device string `json:"device"`          // id of the sender's log
	Build  string `json:"build,omitempty"` // of its program
	Now    int64  `json:"now"`             // its clock, milliseconds since 1970
	// Jobs are those that a call is about; an answer has none.
	Jobs []string `json:"jobs,omitempty"`
	// Digest stands for the heads of all these jobs. A call has it in the place
	// of heads, if there is nothing to send as far as the sender knows; an
	// answer has it if it is the same here, and then says nothing else.
	Digest string `json:"digest,omitempty"`
	// Folds stands for what the jobs' entries come to: the build of the fold, a
	// dot and a digest. An answer has it only if that is another one here.
	Folds string `json:"folds,omitempty"`
	// Ahead is how many entries the other side lacks, those of this message
	// among them.
	Ahead int `json:"ahead,omitempty"`
	// Room is how many compressed bytes the answer to a call should have at
	// most, if less than AnswerBytes: on a slow link that keeps answers within
	// the deadline where they only come whole.
	Room int `json:"room,omitempty"`
}

// ending is the last line of a message.
type ending struct {
	Count int    `json:"count,omitempty"` // entries of the message
	Sum   string `json:"sum,omitempty"`   // see sum; not needed without entries
	// Heads says how far the sender holds each stream of each job: in a call
	// before, in an answer after what came with the call was kept.
	Heads map[string]daylog.Heads `json:"heads,omitempty"`
	// Trails gives points of the lines of devices that the two sides hold
	// different lines of: by job, stream and seq what follows there as prev.
	Trails map[string]trails `json:"trails,omitempty"`
	// Past says, by job and stream, up to which seq the sender has got entries
	// that its heads do not show, because one before them cannot be kept.
	Past map[string]map[string]int64 `json:"past,omitempty"`
	// More: the sender has more to send.
	More bool `json:"more,omitempty"`
	// Refused names entries that the sender could not put into its log; in a
	// call also those that it could not deliver.
	Refused []Refused `json:"refused,omitempty"`
	// Shut gives for jobs of the call that are not for its sender the reason.
	Shut map[string]string `json:"shut,omitempty"`
	// Parked: what came with the call was put by for someone to decide, and
	// this is all that its sender is told.
	Parked bool `json:"parked,omitempty"`
}

type trails map[string]map[int64]string

// Refused is an entry that could not be put into a log, or not delivered.
type Refused struct {
	Job    string      `json:"job"`
	Device string      `json:"device,omitempty"` // empty if it cannot be read
	Seq    int64       `json:"seq,omitempty"`
	ID     string      `json:"id,omitempty"`
	Hash   daylog.Head `json:"hash"`
	Why    string      `json:"why"`
	// Kept: its bytes are safe where it was refused.
	Kept bool `json:"kept,omitempty"`
	// Raw is the entry, where it is handed on to be kept.
	Raw []byte `json:"-"`
}

// refuse names an entry by what of its place can be read.
func refuse(job string, raw []byte, why string) Refused {
	r := Refused{Job: job, Hash: daylog.Hash(raw), Why: why, Raw: raw}
	device, seq, id := place(raw)
	r.Device, r.Seq, r.ID = device, seq, id
	return r
}

// place reads where an entry stands, however little else of it can be read.
func place(raw []byte) (device string, seq int64, id string) {
	var p struct {
		Device string `json:"device"`
		Seq    int64  `json:"seq"`
		ID     string `json:"id"`
	}
	if json.Unmarshal(raw, &p) != nil {
		return "", 0, ""
	}
	return p.Device, p.Seq, p.ID
}

// short is how hashes travel where 16 bytes of them are enough.
func short(sum []byte) string { return base64.RawURLEncoding.EncodeToString(sum[:16]) }

// writer writes a message. The first error stays.
type writer struct {
	zip   *gzip.Writer
	sum   hash.Hash
	job   string
	begun bool // job is set
	count int  // entries
	group int  // entries since the last check
	bytes int  // of them
	most  int  // of them
	err   error
}

func newWriter(w io.Writer, zip *gzip.Writer) *writer {
	zip.Reset(w)
	return &writer{zip: zip, sum: sha256.New(), most: groupBytes}
}

func (w *writer) write(b []byte) {
	if w.err != nil {
		return
	}
	w.sum.Write(b)
	_, w.err = w.zip.Write(b)
}

var newline = []byte{'\n'}

func (w *writer) line(v any) {
	text, err := json.Marshal(v)
	if w.err == nil {
		w.err = err
	}
	w.write(text)
	w.write(newline)
}

func (w *writer) entry(job string, raw []byte) {
	if !w.begun || job != w.job {
		w.job, w.begun = job, true
		w.line([]any{"job", job})
	}
	w.write(raw)
	w.write(newline)
	w.count, w.group, w.bytes = w.count+1, w.group+1, w.bytes+len(raw)
}

// full reports whether a check is due.
func (w *writer) full() bool { return w.group >= groupEntries || w.bytes >= w.most }

// check lets the reader use all entries so far, and sends them on their way.
func (w *writer) check() {
	w.line([]any{"so far", w.count, short(w.sum.Sum(nil))})
	if w.err == nil {
		w.err = w.zip.Flush()
	}
	w.group, w.bytes = 0, 0
}

func (w *writer) end(e ending) error {
	e.Count = w.count
	if w.count > 0 {
		e.Sum = short(w.sum.Sum(nil))
	}
	w.line([]any{"end", e})
	if w.err != nil {
		return w.err
	}
	return w.zip.Close()
}

// limits are what a reader reads at most.
type limits struct {
	body    int64 // compressed
	text    int64 // uncompressed
	entries int   // 0: any number
	alone   bool  // nothing may follow the message
}

var (
	callLimits   = limits{body: 8 << 20, text: 8 << 20, entries: PushEntries, alone: true}
	answerLimits = limits{body: 16 << 20, text: 64 << 20}
)

// What is held back until a check says that it is right.
const (
	heldEntries = 1000
	heldBytes   = 8 << 20
)

// reader reads a message.
type reader struct {
	lines *bufio.Reader
	left  int64 // uncompressed bytes that may follow
	sum   hash.Hash
	buf   []byte
}

// line gives the next line without its end and, unless it is an entry, the sum
// of all before it. It is good until the next call.
func (r *reader) line() (text []byte, before string, err error) {
	if next, err := r.lines.Peek(1); err == nil && next[0] == '[' {
		before = short(r.sum.Sum(nil))
	}
	r.buf = r.buf[:0]
	for {
		part, err := r.lines.ReadSlice('\n')
		r.sum.Write(part)
		r.left -= int64(len(part))
		r.buf = append(r.buf, part...)
		switch {
		case r.left < 0 || len(r.buf) > EntryBytes+1:
			return nil, "", errTooLarge
		case err == nil:
			return r.buf[:len(r.buf)-1], before, nil
		case errors.Is(err, io.EOF):
			return nil, "", io.ErrUnexpectedEOF
		case !errors.Is(err, bufio.ErrBufferFull):
			return nil, "", err
		}
	}
}

// handler is what is done with the parts of a message as they are read.
type handler struct {
	hello func(hello) error
	// entries gets entries of one job, in order. All that came before them and
	// they themselves are as they were sent.
	entries func(job string, raws [][]byte) error
}

// read reads a message. It fails unless all of it comes; errors of the handler
// come back as they are.
func read(source io.Reader, lim limits, h handler) (hello, ending, error) {
	limited := &io.LimitedReader{R: source, N: lim.body + 1}
	raw := bufio.NewReader(limited)
	first, last, err := readZipped(raw, lim, h)
	if err == nil && lim.alone {
		if _, more := raw.ReadByte(); more == nil {
			err = fmt.Errorf("%w: something follows it", errBroken)
		} else if !errors.Is(more, io.EOF) {
			err = more
		}
	}
	if limited.N <= 0 {
		err = errTooLarge
	}
	return first, last, err
}

func readZipped(source *bufio.Reader, lim limits, h handler) (first hello, last ending, err error) {
	zip, err := gzip.NewReader(source)
	if err != nil {
		return first, last, broken(err)
	}
	defer zip.Close()
	zip.Multistream(false)
	r := &reader{lines: bufio.NewReader(zip), left: lim.text, sum: sha256.New()}
	text, _, err := r.line()
	if err != nil {
		return first, last, broken(err)
	}
	if err := json.Unmarshal(text, &first); err != nil {
		return first, last, broken(err)
	}
	if err := h.hello(first); err != nil {
		return first, last, err
	}
	type group struct {
		job  string
		raws [][]byte
	}
	var held []group
	count, waiting, bytesHeld := 0, 0, 0
	hand := func() error {
		for _, g := range held {
			if len(g.raws) == 0 {
				continue // its entries follow
			}
			if err := h.entries(g.job, g.raws); err != nil {
				return err
			}
		}
		if n := len(held); n > 0 {
			held = []group{{job: held[n-1].job}}
		}
		waiting, bytesHeld = 0, 0
		return nil
	}
	for {
		text, before, err := r.line()
		if err != nil {
			return first, last, broken(err)
		}
		if len(text) == 0 || text[0] != '[' {
			if len(held) == 0 {
				return first, last, fmt.Errorf("%w: an entry before its job", errBroken)
			}
			if count++; lim.entries > 0 && count > lim.entries {
				return first, last, fmt.Errorf("%w: more than %d entries", errTooLarge, lim.entries)
			}
			waiting, bytesHeld = waiting+1, bytesHeld+len(text)
			if waiting > heldEntries || bytesHeld > heldBytes {
				return first, last, fmt.Errorf("%w: too much without a check", errTooLarge)
			}
			g := &held[len(held)-1]
			g.raws = append(g.raws, bytes.Clone(text))
			continue
		}
		var parts []json.RawMessage
		if err := json.Unmarshal(text, &parts); err != nil {
			return first, last, broken(err)
		}
		var word string
		if len(parts) < 2 || json.Unmarshal(parts[0], &word) != nil {
			return first, last, fmt.Errorf("%w: a line that says nothing", errBroken)
		}
		switch word {
		case "job":
			var job string
			if err := json.Unmarshal(parts[1], &job); err != nil {
				return first, last, broken(err)
			}
			if n := len(held); n > 0 && len(held[n-1].raws) == 0 {
				held = held[:n-1]
			}
			held = append(held, group{job: job})
		case "so far":
			var n int
			var sum string
			if len(parts) < 3 || json.Unmarshal(parts[1], &n) != nil || json.Unmarshal(parts[2], &sum) != nil || n != count || sum != before {
				return first, last, fmt.Errorf("%w: it changed on the way", errBroken)
			}
			if err := hand(); err != nil {
				return first, last, err
			}
		case "end":
			if err := json.Unmarshal(parts[1], &last); err != nil {
				return first, last, broken(err)
			}
			if last.Count != count || count > 0 && last.Sum != before {
				return first, last, fmt.Errorf("%w: it changed on the way", errBroken)
			}
			// The end of the compressed bytes says that the last line is right too.
			if _, err := r.lines.ReadByte(); err == nil {
				return first, last, fmt.Errorf("%w: something follows its end", errBroken)
			} else if !errors.Is(err, io.EOF) {
				return first, last, broken(err)
			}
			return first, last, hand()
		default:
			// A line of a newer version: what it says is not needed to read the rest.
		}
	}
}

// broken marks an error of reading, unless it says that there is too much.
func broken(err error) error {
	if errors.Is(err, errTooLarge) {
		return err
	}
	return fmt.Errorf("%w: %w", errBroken, err)
}
