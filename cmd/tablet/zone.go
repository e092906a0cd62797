//go:build js && wasm

package main

import (
	"encoding/binary"
	"fmt"
	"sync"
	"syscall/js"
	"time"
)

// zones gives time zones as the browser knows them. Go's own list of all zones
// would be 58 KB of the program after compression, and older than the browser's.
type zones struct {
	mu    sync.Mutex
	known map[string]*time.Location
}

// Load is time.LoadLocation for the zone's clocks of the years that the worker
// tells.
func (z *zones) Load(name string) (*time.Location, error) {
	z.mu.Lock()
	defer z.mu.Unlock()
	if zone, ok := z.known[name]; ok {
		return zone, nil
	}
	told := js.Global().Call("clocksOf", name)
	if name == "" || !told.Truthy() {
		return nil, fmt.Errorf("unknown time zone %s", name)
	}
	changes := make([]change, told.Length())
	for i := range changes {
		c := told.Index(i)
		changes[i] = change{from: int64(c.Index(0).Float()), east: int32(c.Index(1).Int()), name: c.Index(2).String()}
	}
	zone, err := time.LoadLocationFromTZData(name, zoneFile(changes))
	if err != nil {
		return nil, err
	}
	if z.known == nil {
		z.known = map[string]*time.Location{}
	}
	z.known[name] = zone
	return zone, nil
}

// change is a moment from which a zone's clocks show something else.
type change struct {
	from int64 // Unix seconds
	east int32 // seconds ahead of UTC
	name string
}

// zoneFile writes changes in the format of zoneinfo files, TZif of version 2
// (RFC 8536), which is what package time reads.
func zoneFile(changes []change) []byte {
	type kind struct {
		east int32
		name string
	}
	var kinds []kind
	var names []byte
	at := map[kind]byte{}
	var times, which, types []byte
	for _, c := range changes {
		k := kind{c.east, c.name}
		i, known := at[k]
		if !known {
			i = byte(len(kinds))
			at[k] = i
			kinds = append(kinds, k)
			types = binary.BigEndian.AppendUint32(types, uint32(c.east))
			types = append(types, 0, byte(len(names)))
			names = append(append(names, c.name...), 0)
		}
		times = binary.BigEndian.AppendUint64(times, uint64(c.from))
		which = append(which, i)
	}
	header := func(counts ...int) []byte {
		b := append([]byte("TZif2"), make([]byte, 15)...)
		for _, n := range counts {
			b = binary.BigEndian.AppendUint32(b, uint32(n))
		}
		return b
	}
	file := header(0, 0, 0, 0, 0, 0) // what version 1 would hold: nothing
	file = append(file, header(0, 0, 0, len(changes), len(kinds), len(names))...)
	for _, part := range [][]byte{times, which, types, names} {
		file = append(file, part...)
	}
	return append(file, "\n\n"...)
}
