//go:build js

package slices

// order gives the numbers below n in the order in which before puts them,
// equals as they came; nil if that is how they stand. It is compiled once,
// where the sorting it stands in for is compiled for every type.
func order(n int, before func(a, b int) bool) []int {
	sorted := true
	for i := 1; i < n && sorted; i++ {
		sorted = !before(i, i-1)
	}
	if sorted {
		return nil
	}
	from, to := make([]int, n), make([]int, n)
	for i := range from {
		from[i] = i
	}
	const run = 8
	for low := 0; low < n; low += run {
		for i := low + 1; i < min(low+run, n); i++ {
			for j := i; j > low && before(from[j], from[j-1]); j-- {
				from[j], from[j-1] = from[j-1], from[j]
			}
		}
	}
	for width := run; width < n; width *= 2 {
		for low := 0; low < n; low += 2 * width {
			middle, high := min(low+width, n), min(low+2*width, n)
			a, b := low, middle
			for k := low; k < high; k++ {
				if a < middle && (b == high || !before(from[b], from[a])) {
					to[k] = from[a]
					a++
				} else {
					to[k] = from[b]
					b++
				}
			}
		}
		from, to = to, from
	}
	return from
}

func arrange[E any](data []E, order []int) {
	if order == nil {
		return
	}
	sorted := make([]E, len(order))
	for i, from := range order {
		sorted[i] = data[from]
	}
	copy(data, sorted)
}

func stableCmpFunc[E any](data []E, n int, cmp func(a, b E) int) {
	arrange(data[:n], order(n, func(a, b int) bool { return cmp(data[a], data[b]) < 0 }))
}

func pdqsortCmpFunc[E any](data []E, a, b, _ int, cmp func(a, b E) int) {
	stableCmpFunc(data[a:b], b-a, cmp)
}
