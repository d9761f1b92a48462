package graph

import (
	"fmt"
	"sync"
	"unsafe"
)

// Live is a lineage in memory that is changed node by node and link by link, at a cost that
// follows the change and not the size. N is what is known of a node. Whoever changes it must be alone; several may read at once.
type Live[N any] struct {
	slot  map[int64]int32 // of each node, by its ID
	nodes []liveNode[N]
	links []liveLink
	bare  []int32   // slots of nodes that are free again
	loose []int32   // places of links that are free again
	spare sync.Pool // of lists that walks borrow
}

// liveNode holds its first links each way as places plus one; 0 where there is none.
type liveNode[N any] struct {
	is      N
	id      int64
	out, in int32
	there   bool
}

// liveLink holds the next links of its two nodes in the same way.
type liveLink struct {
	Link
	src, dst        int32 // slots
	nextOut, nextIn int32
}

// NewLive gives an empty one.
func NewLive[N any]() *Live[N] { return &Live[N]{slot: map[int64]int32{}} }

// Len is how many nodes and links there are.
func (l *Live[N]) Len() (nodes, links int) { return len(l.slot), len(l.links) - len(l.loose) }

// Bytes is about how much memory it takes, without what N points to.
func (l *Live[N]) Bytes() int64 {
	const entry = 24 // of a map from int64 to int32, with what it leaves free
	return int64(cap(l.nodes))*int64(unsafe.Sizeof(liveNode[N]{})) + int64(cap(l.links))*int64(unsafe.Sizeof(liveLink{})) + entry*int64(len(l.slot))
}

// Put adds a node, or replaces what is known of it.
func (l *Live[N]) Put(id int64, n N) {
	if at, ok := l.slot[id]; ok {
		l.nodes[at].is = n
		return
	}
	now := liveNode[N]{is: n, id: id, there: true}
	if k := len(l.bare); k > 0 {
		l.slot[id] = l.bare[k-1]
		l.nodes[l.bare[k-1]] = now
		l.bare = l.bare[:k-1]
		return
	}
	l.slot[id] = int32(len(l.nodes))
	l.nodes = append(l.nodes, now)
}

// Drop takes a node away. It refuses one that is not there, or that links still name.
func (l *Live[N]) Drop(id int64) error {
	at, ok := l.slot[id]
	if !ok || l.nodes[at].out != 0 || l.nodes[at].in != 0 {
		return fmt.Errorf("node %d cannot be taken away: it is not there, or links name it", id)
	}
	delete(l.slot, id)
	l.nodes[at] = liveNode[N]{}
	l.bare = append(l.bare, at)
	return nil
}

// Tie adds a link. It refuses one that names a node that is not there.
func (l *Live[N]) Tie(x Link) error {
	src, ok := l.slot[x.Src]
	dst, ok2 := l.slot[x.Dst]
	if !ok || !ok2 {
		return fmt.Errorf("the link from node %d to node %d names a node that is not there", x.Src, x.Dst)
	}
	now := liveLink{x, src, dst, l.nodes[src].out, l.nodes[dst].in}
	at := int32(len(l.links))
	if k := len(l.loose); k > 0 {
		at, l.loose = l.loose[k-1], l.loose[:k-1]
		l.links[at] = now
	} else {
		l.links = append(l.links, now)
	}
	l.nodes[src].out, l.nodes[dst].in = at+1, at+1
	return nil
}

// Cut takes the link away that has a link's ends, entry and cause. It refuses where there is none.
func (l *Live[N]) Cut(x Link) error {
	src, ok := l.slot[x.Src]
	dst, ok2 := l.slot[x.Dst]
	if ok && ok2 {
		for p := &l.nodes[src].out; *p != 0; p = &l.links[*p-1].nextOut {
			at := *p - 1
			if is := &l.links[at]; is.dst != dst || is.Entry != x.Entry || is.Cause != x.Cause {
				continue
			}
			*p = l.links[at].nextOut
			for q := &l.nodes[dst].in; *q != 0; q = &l.links[*q-1].nextIn {
				if *q-1 == at {
					*q = l.links[at].nextIn
					break
				}
			}
			l.links[at] = liveLink{src: -1}
			l.loose = append(l.loose, at)
			return nil
		}
	}
	return fmt.Errorf("there is no link from node %d to node %d by entry %d to take away", x.Src, x.Dst, x.Entry)
}

// Reach gives every node that links lead to from the starts in one direction, the starts with them, and the links
// followed. Starts that are not there are passed over. It costs what it reaches.
func (l *Live[N]) Reach(dir Direction, starts []int64, node func(id int64, n N), link func(Link)) {
	var todo []int32
	met := l.borrow()
	meet := func(at int32) {
		if !met[at] {
			met[at] = true
			todo = append(todo, at)
		}
	}
	for _, id := range starts {
		if at, ok := l.slot[id]; ok {
			meet(at)
		}
	}
	for k := 0; k < len(todo); k++ {
		n := &l.nodes[todo[k]]
		node(n.id, n.is)
		if dir == Back {
			for at := n.in; at != 0; at = l.links[at-1].nextIn {
				link(l.links[at-1].Link)
				meet(l.links[at-1].src)
			}
			continue
		}
		for at := n.out; at != 0; at = l.links[at-1].nextOut {
			link(l.links[at-1].Link)
			meet(l.links[at-1].dst)
		}
	}
	for _, at := range todo {
		met[at] = false
	}
	l.spare.Put(&met)
}

// borrow lends a list of falses, one for each slot; a list of when there were fewer slots is dropped.
func (l *Live[N]) borrow() []bool {
	if list, ok := l.spare.Get().(*[]bool); ok && len(*list) >= len(l.nodes) {
		return *list
	}
	return make([]bool, len(l.nodes)+len(l.nodes)/8)
}

// All gives every node and every link.
func (l *Live[N]) All(node func(id int64, n N), link func(Link)) {
	for i := range l.nodes {
		if l.nodes[i].there {
			node(l.nodes[i].id, l.nodes[i].is)
		}
	}
	for i := range l.links {
		if l.links[i].src >= 0 {
			link(l.links[i].Link)
		}
	}
}
