package web

import (
	"math"
	"time"

	lru "github.com/hashicorp/golang-lru/v2"
	"golang.org/x/time/rate"
)

// askers is how many networks a Limiter tells apart; the one that was quiet
// longest is forgotten first, so that a flood of addresses takes no memory.
const askers = 4096

// Limiter lets each asker do something so often, and a burst at once.
type Limiter struct {
	every rate.Limit
	burst int
	known *lru.Cache[string, *rate.Limiter]
}

// NewLimiter allows burst at once, and one more each time that each has passed.
func NewLimiter(each time.Duration, burst int) *Limiter {
	known, err := lru.New[string, *rate.Limiter](askers)
	if err != nil {
		panic("web: " + err.Error()) // a size below one
	}
	return &Limiter{rate.Every(each), burst, known}
}

// Allow takes one from what asker may still do. When nothing is left it takes
// nothing and says after how many whole seconds to come back.
func (l *Limiter) Allow(asker string) (wait int, ok bool) {
	one := rate.NewLimiter(l.every, l.burst)
	if before, found, _ := l.known.PeekOrAdd(asker, one); found {
		one = before
		l.known.Get(asker) // now the newest
	}
	if one.Allow() {
		return 0, true
	}
	return l.wait(one), false
}

// Spent tells whether asker has nothing left, without taking anything.
func (l *Limiter) Spent(asker string) (wait int, spent bool) {
	one, found := l.known.Peek(asker)
	if !found || one.Tokens() >= 1 {
		return 0, false
	}
	return l.wait(one), true
}

func (l *Limiter) wait(one *rate.Limiter) int {
	return max(1, int(math.Ceil((1-one.Tokens())/float64(l.every))))
}
