package people

// Cheap makes hashes cost next to nothing, for tests.
func (b *Book) Cheap() { b.cost = cost{memory: 64, rounds: 1, threads: 1} }

// Dear makes them cost a little more than Cheap.
func (b *Book) Dear() { b.cost = cost{memory: 64, rounds: 2, threads: 1} }
