package archive

import (
	"container/list"
	"sync"
)

// A cache keeps what was read and verified last, up to a cost. The zero value of most keeps nothing.
type cache[V any] struct {
	mu    sync.Mutex
	most  int
	cost  int
	order list.List // of *cached[V], newest first
	at    map[uint64]*list.Element
}

type cached[V any] struct {
	n    uint64
	v    V
	cost int
}

func (c *cache[V]) get(n uint64) (V, bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	e, ok := c.at[n]
	if !ok {
		var none V
		return none, false
	}
	c.order.MoveToFront(e)
	return e.Value.(*cached[V]).v, true
}

func (c *cache[V]) put(n uint64, v V, cost int) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.at == nil {
		c.at = map[uint64]*list.Element{}
	}
	if _, there := c.at[n]; there || cost > c.most {
		return
	}
	c.at[n] = c.order.PushFront(&cached[V]{n, v, cost})
	c.cost += cost
	for c.cost > c.most {
		last := c.order.Back()
		old := c.order.Remove(last).(*cached[V])
		delete(c.at, old.n)
		c.cost -= old.cost
	}
}
