//go:build js

// Package gzip stands in for compress/gzip in the tablet's program: the browser
// compresses, and takes back what was compressed.
package gzip

import (
	"errors"
	"io"
	"syscall/js"
)

// chunk is how many bytes are handed to the browser at once.
const chunk = 32 << 10

// stream is one of the browser's two streams, for one direction.
type stream struct {
	writer, reader js.Value
	left           []byte // read and not yet asked for
}

func open(kind string) *stream {
	s := js.Global().Get(kind).New("gzip")
	return &stream{writer: s.Get("writable").Call("getWriter"), reader: s.Get("readable").Call("getReader")}
}

// settled waits for a promise.
func settled(promise js.Value) (js.Value, error) {
	type outcome struct {
		value js.Value
		err   error
	}
	done := make(chan outcome, 1)
	kept := js.FuncOf(func(_ js.Value, args []js.Value) any {
		done <- outcome{value: args[0]}
		return nil
	})
	broken := js.FuncOf(func(_ js.Value, args []js.Value) any {
		done <- outcome{err: errors.New("gzip: " + js.Global().Get("String").Invoke(args[0]).String())}
		return nil
	})
	defer kept.Release()
	defer broken.Release()
	promise.Call("then", kept, broken)
	o := <-done
	return o.value, o.err
}

func (s *stream) write(b []byte) error {
	v := js.Global().Get("Uint8Array").New(len(b))
	js.CopyBytesToJS(v, b)
	_, err := settled(s.writer.Call("write", v))
	return err
}

func (s *stream) read(p []byte) (int, error) {
	for len(s.left) == 0 {
		next, err := settled(s.reader.Call("read"))
		if err != nil {
			return 0, err
		}
		if next.Get("done").Bool() {
			return 0, io.EOF
		}
		v := next.Get("value")
		s.left = make([]byte, v.Length())
		js.CopyBytesToGo(s.left, v)
	}
	n := copy(p, s.left)
	s.left = s.left[n:]
	return n, nil
}

// Writer compresses what is written to it. It does so when it is closed.
type Writer struct {
	to  io.Writer
	buf []byte
}

// NewWriter makes a Writer to w.
func NewWriter(w io.Writer) *Writer { return &Writer{to: w} }

// Levels of compression. The browser has one.
const (
	NoCompression      = 0
	BestSpeed          = 1
	BestCompression    = 9
	DefaultCompression = -1
)

// NewWriterLevel makes a Writer to w.
func NewWriterLevel(w io.Writer, _ int) (*Writer, error) { return NewWriter(w), nil }

// Reset begins anew, to another writer.
func (z *Writer) Reset(w io.Writer) { z.to, z.buf = w, z.buf[:0] }

// Write takes p.
func (z *Writer) Write(p []byte) (int, error) {
	z.buf = append(z.buf, p...)
	return len(p), nil
}

// Flush does nothing: the browser has no such thing.
func (z *Writer) Flush() error { return nil }

// Close compresses all of it and writes it.
func (z *Writer) Close() error {
	s := open("CompressionStream")
	fed := make(chan error, 1)
	go func() {
		err := s.write(z.buf)
		if err == nil {
			_, err = settled(s.writer.Call("close"))
		}
		fed <- err
	}()
	p := make([]byte, chunk)
	for {
		n, err := s.read(p)
		if err == io.EOF {
			return <-fed
		}
		if err == nil {
			_, err = z.to.Write(p[:n])
		}
		if err != nil {
			return err
		}
	}
}

// Reader gives back what was compressed, of one member with nothing after it.
type Reader struct {
	stream *stream
	source chan error // why there is no more to decompress
}

// NewReader makes a Reader of r. It reads ahead.
func NewReader(r io.Reader) (*Reader, error) {
	z := &Reader{}
	return z, z.Reset(r)
}

// Reset begins anew, with another source.
func (z *Reader) Reset(r io.Reader) error {
	z.stream, z.source = open("DecompressionStream"), make(chan error, 1)
	go z.feed(r)
	return nil
}

func (z *Reader) feed(r io.Reader) {
	stream, source := z.stream, z.source
	p := make([]byte, chunk)
	for {
		n, err := r.Read(p)
		if n > 0 {
			if failed := stream.write(p[:n]); failed != nil {
				return // the other end says why
			}
		}
		if err == io.EOF {
			settled(stream.writer.Call("close"))
			return
		}
		if err != nil {
			source <- err
			settled(stream.writer.Call("abort"))
			return
		}
	}
}

// Multistream does nothing: the browser takes one member alone.
func (z *Reader) Multistream(bool) {}

// Read gives what has been decompressed. Where the source failed it says so.
func (z *Reader) Read(p []byte) (int, error) {
	n, err := z.stream.read(p)
	if err != nil && err != io.EOF {
		select {
		case err = <-z.source:
			z.source <- err
		default:
		}
	}
	return n, err
}

// Close lets go of the source, wherever the reading stands.
func (z *Reader) Close() error {
	settled(z.stream.reader.Call("cancel"))
	return nil
}
