package store

// The texts that the benchmarks of speed compare with others.
const (
	NewestSQL   = newestSQL
	StandingSQL = standingSQL
)
