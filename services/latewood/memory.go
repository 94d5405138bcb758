package main

import (
	"math"
	"os"
	"runtime/debug"
	"runtime/metrics"
	"time"
)

// softMemory is how much the program takes, in bytes, before it rather works for memory than asks for it: a long import makes
// garbage faster than it makes anything that stays.
const softMemory = 448 << 20

// boundMemory keeps what the program takes near softMemory until the function that it returns is called. What lives may
// need more; then the bound moves with it, for a bound below what lives would only keep the collector busy. Who sets
// GOMEMLIMIT has decided it already.
func boundMemory() (stop func()) {
	if os.Getenv("GOMEMLIMIT") != "" {
		return func() {}
	}
	before := debug.SetMemoryLimit(softMemory)
	done := make(chan struct{})
	go func() {
		tick := time.NewTicker(time.Second)
		defer tick.Stop()
		live := []metrics.Sample{{Name: "/gc/heap/live:bytes"}}
		for {
			select {
			case <-done:
				return
			case <-tick.C:
				metrics.Read(live)
				debug.SetMemoryLimit(memoryBound(live[0].Value.Uint64()))
			}
		}
	}()
	return func() {
		close(done)
		debug.SetMemoryLimit(before)
	}
}

// memoryBound leaves at least a quarter of what lives for the collector to work with.
func memoryBound(live uint64) int64 {
	return int64(max(softMemory, min(live, math.MaxInt64/2)/4*5))
}
