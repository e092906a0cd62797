package signin

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"fmt"
	"runtime"
	"strings"
	"unicode/utf8"

	"golang.org/x/crypto/argon2"
)

// Cost is what checking one password takes.
type Cost struct {
	Memory uint32 // KiB
	Passes uint32
	Lanes  uint8
}

// usualCost takes about 50 ms on one slow core. From memory: the OWASP Password
// Storage Cheat Sheet asks for argon2id with at least 46 MiB and 1 pass, or 19
// MiB and 2, each with 1 lane; RFC 9106 takes 64 MiB, 3 passes and 4 lanes where
// memory is short, which here took 170 ms of both cores.
var usualCost = Cost{Memory: 46 << 10, Passes: 2, Lanes: 1}

const (
	saltLength = 16 // bytes; RFC 9106, from memory
	hashLength = 32
	// argonVersion is what argon2.Version stands for in the text form.
	argonVersion = argon2.Version
)

// passwords hashes passwords and compares them with hashes.
type passwords struct {
	cost   Cost
	derive func(password, salt []byte, c Cost, length uint32) []byte
	turns  chan struct{} // as many at a time: each takes Cost.Memory
	// nobody stands for the hash of an account that does not exist or has no
	// password, so that these take the same work as any other.
	nobody string
}

func newPasswords(c Cost) passwords {
	p := passwords{cost: c, turns: make(chan struct{}, min(4, runtime.NumCPU())), derive: argon2id}
	// Nobody asks for this one's password, so no work is needed to make it.
	random := make([]byte, saltLength+hashLength)
	rand.Read(random)
	p.nobody = encode(c, random[:saltLength], random[saltLength:])
	return p
}

func argon2id(password, salt []byte, c Cost, length uint32) []byte {
	return argon2.IDKey(password, salt, c.Passes, c.Memory, c.Lanes, length)
}

func (p *passwords) work(password string, salt []byte, c Cost, length int) []byte {
	p.turns <- struct{}{}
	defer func() { <-p.turns }()
	return p.derive([]byte(password), salt, c, uint32(length))
}

// hash gives the text that is kept of a password: algorithm, version, cost,
// salt and hash, in the form that argon2's reference program prints.
func (p *passwords) hash(password string) string {
	salt := make([]byte, saltLength)
	rand.Read(salt)
	return encode(p.cost, salt, p.work(password, salt, p.cost, hashLength))
}

func encode(c Cost, salt, hash []byte) string {
	b64 := base64.RawStdEncoding
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argonVersion, c.Memory, c.Passes, c.Lanes, b64.EncodeToString(salt), b64.EncodeToString(hash))
}

// decode reads what encode wrote, here or in an earlier version.
func decode(kept string) (c Cost, salt, hash []byte, err error) {
	parts := strings.Split(kept, "$")
	if len(parts) != 6 || parts[0] != "" || parts[1] != "argon2id" || parts[2] != fmt.Sprintf("v=%d", argonVersion) {
		return c, nil, nil, fmt.Errorf("a kept password is not of a known form")
	}
	if _, err := fmt.Sscanf(parts[3], "m=%d,t=%d,p=%d", &c.Memory, &c.Passes, &c.Lanes); err != nil {
		return c, nil, nil, fmt.Errorf("the cost of a kept password: %w", err)
	}
	if salt, err = base64.RawStdEncoding.DecodeString(parts[4]); err != nil {
		return c, nil, nil, fmt.Errorf("the salt of a kept password: %w", err)
	}
	if hash, err = base64.RawStdEncoding.DecodeString(parts[5]); err != nil {
		return c, nil, nil, fmt.Errorf("the hash of a kept password: %w", err)
	}
	if c.Passes < 1 || c.Lanes < 1 || len(hash) < hashLength {
		return c, nil, nil, fmt.Errorf("a kept password is weaker than any this program has written")
	}
	return c, salt, hash, nil
}

// fit tells whether a password is the one kept, with the same work where none
// is kept. Stale: it fits and was hashed at another cost than the present one.
func (p *passwords) fit(kept, password string) (fits, stale bool, err error) {
	none := kept == ""
	if none {
		kept = p.nobody
	}
	c, salt, hash, err := decode(kept)
	if err != nil {
		return false, false, err
	}
	same := subtle.ConstantTimeCompare(hash, p.work(password, salt, c, len(hash))) == 1
	fits = same && !none
	return fits, fits && c != p.cost, nil
}

const (
	// shortest is between the 8 characters that NIST SP 800-63B long asked for
	// and the 15 its fourth revision asks where nothing but a password is used
	// (both from memory).
	shortest = 12
	longest  = 1000 // bytes
)

// passwordFault says in a sentence what is wrong with a new password; "" if
// nothing is.
func passwordFault(password, login, name string) string {
	distinct := map[rune]bool{}
	for _, r := range strings.ToLower(password) {
		distinct[r] = true
	}
	switch n := utf8.RuneCountInString(password); {
	case password == "":
		return "Choose a password."
	case !utf8.ValidString(password):
		return "This password holds bytes that are no characters."
	case n < shortest:
		return fmt.Sprintf("A password needs at least %d characters; this one has %d. Three or four words that do not belong together are long enough and easy to keep in mind.", shortest, n)
	case len(password) > longest:
		return fmt.Sprintf("A password may be %d characters long at most.", longest)
	case len(distinct) < 5:
		return "This password is the same few characters again and again. Take some words instead."
	case strings.EqualFold(strings.TrimSpace(password), login), strings.EqualFold(strings.TrimSpace(password), name):
		return "A name is the first thing that others try. Take some words instead."
	}
	return ""
}
