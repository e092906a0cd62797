// Package template stands in for html/template in the tablet's program: names
// that templ mentions for those who bring Go templates along, which we do not.
package template

import (
	"errors"
	"io"
)

type (
	HTML     string
	Template struct{}
)

func (*Template) Execute(io.Writer, any) error {
	return errors.New("template: not in the tablet's program")
}
