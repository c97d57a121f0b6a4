// Package draws has what the dispersions of the run and of the circuit share:
// runs spread over workers, a random stream for each run, and the statistics of
// what they show. It starts no goroutine that outlives a call.
package draws

import (
	"context"
	"sync"
	"sync/atomic"

	"gonum.org/v1/gonum/mathext"
)

// blockRuns is how many runs a worker takes at once: enough to make the shared
// counter cheap, few enough to end soon after a cancel.
const blockRuns = 32

// Workers returns how many of the wanted workers so many runs can occupy.
func Workers(wanted, runs int) int { return min(max(wanted, 1), (runs+blockRuns-1)/blockRuns) }

// Each makes runs 0 to runs − 1, spread over workers, one of which is the
// caller's goroutine. newWorker returns what makes a run in worker w. progress,
// when not nil, is told how many runs are done, by one worker at a time. The
// error is ctx's, when that ended first.
func Each(ctx context.Context, runs, workers int, newWorker func(w int) func(run int), progress func(done int)) error {
	var next atomic.Int64
	var report sync.Mutex
	var group sync.WaitGroup
	done := 0
	work := func(w int) {
		one := newWorker(w)
		for ctx.Err() == nil {
			first := int(next.Add(blockRuns)) - blockRuns
			if first >= runs {
				return
			}
			last := min(first+blockRuns, runs)
			for run := first; run < last; run++ {
				one(run)
			}
			report.Lock()
			done += last - first
			if progress != nil {
				progress(done)
			}
			report.Unlock()
		}
	}
	for w := 1; w < workers; w++ {
		group.Go(func() { work(w) })
	}
	work(0)
	group.Wait()
	if done < runs {
		return ctx.Err()
	}
	return nil
}

// Mix spreads the bits of x, so that neighbouring runs do not begin alike: the
// output function of SplitMix64 (Steele, Lea and Flood, 2014).
func Mix(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}

// Quantile returns the q-quantile of sorted, linear between order statistics:
// the value at rank q (n − 1). There must be a value.
func Quantile(sorted []float64, q float64) float64 {
	rank := q * float64(len(sorted)-1)
	low := int(rank)
	if low+1 >= len(sorted) {
		return sorted[len(sorted)-1]
	}
	return sorted[low] + (rank-float64(low))*(sorted[low+1]-sorted[low])
}

// Upper95 returns the one-sided 95 % upper confidence bound of a probability of
// which count in runs were seen, 1 when all were.
//
// Source: Clopper and Pearson, The use of confidence or fiducial limits
// illustrated in the case of the binomial, Biometrika 26 (1934) 404–413, in
// the form of a quantile of the beta distribution.
func Upper95(count, runs int) float64 {
	if count >= runs {
		return 1
	}
	return mathext.InvRegIncBeta(float64(count)+1, float64(runs-count), 0.95)
}

// Lower95 returns the lower bound to match, 0 when none were seen.
func Lower95(count, runs int) float64 {
	if count <= 0 {
		return 0
	}
	return mathext.InvRegIncBeta(float64(count), float64(runs-count)+1, 0.05)
}
