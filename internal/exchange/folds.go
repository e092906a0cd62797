package exchange

import (
	"context"
	"crypto/sha256"
	"strings"

	"duskline/internal/daylog"
	"duskline/internal/store"
)

// FoldOf digests what the entries a log holds of a job come to: roof, set-up
// and days after the last day that has entries. memo may be nil.
func FoldOf(log store.Log, memo *store.Memo) func(ctx context.Context, job string) (daylog.Head, error) {
	if memo == nil {
		memo = &store.Memo{Jobs: 1}
	}
	return func(ctx context.Context, job string) (daylog.Head, error) {
		marks, err := log.Marks(ctx, job)
		if err != nil || len(marks) == 0 {
			return daylog.Head{}, err
		}
		day := marks[len(marks)-1].Day.Add(1)
		folded, err := memo.Fold(ctx, log, job, day)
		if err != nil {
			return daylog.Head{}, err
		}
		return folded.Digest(day)
	}
}

// foldsOf is what is said of the folds of jobs, in order.
func foldsOf(ctx context.Context, fold func(context.Context, string) (daylog.Head, error), jobs []string) (string, error) {
	sum := sha256.New()
	for _, job := range jobs {
		one, err := fold(ctx, job)
		if err != nil {
			return "", err
		}
		sum.Write(one[:])
	}
	var all daylog.Head
	sum.Sum(all[:0])
	return daylog.FoldBuild + "." + all.Prev(), nil // 8 bytes are enough for a fault
}

// sameFold reports whether folds were made by the fold of this build.
func sameFold(folds string) bool {
	build, _, _ := strings.Cut(folds, ".")
	return build == daylog.FoldBuild
}
