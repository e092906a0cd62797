// Package regexp stands in for regexp in the tablet's program. templ makes
// expressions at its start, to judge dynamic style and names of scripts, and
// chi would for routes that hold one. We write neither. Who begins to gets an
// answer that no test can miss.
package regexp

import "errors"

type Regexp struct{}

var errNone = errors.New("regexp: not in the tablet's program, see static/build")

func MustCompile(string) *Regexp        { return &Regexp{} }
func Compile(string) (*Regexp, error)   { return nil, errNone }
func (*Regexp) MatchString(string) bool { panic(errNone) }
