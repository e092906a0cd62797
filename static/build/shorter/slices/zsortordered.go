//go:build js

package slices

import "cmp"

func pdqsortOrdered[E cmp.Ordered](data []E, a, b, _ int) {
	data = data[a:b]
	arrange(data, order(len(data), func(a, b int) bool { return cmp.Less(data[a], data[b]) }))
}
