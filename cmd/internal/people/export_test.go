package people

import "context"

// Cheap makes hashes cost next to nothing, for tests.
func (b *Book) Cheap() { b.cost = cost{memory: 64, rounds: 1, threads: 1} }

// Dear makes them cost a little more than Cheap.
func (b *Book) Dear() { b.cost = cost{memory: 64, rounds: 2, threads: 1} }

// Stored reads one value of the file.
func (b *Book) Stored(ctx context.Context, query string, args ...any) (out string, err error) {
	err = b.file.Write.QueryRowContext(ctx, query, args...).Scan(&out)
	return out, err
}

// Exec changes the file behind the book's back.
func (b *Book) Exec(ctx context.Context, statement string) error {
	_, err := b.file.Write.ExecContext(ctx, statement)
	return err
}

// Busy takes all the room there is for hashes, until it is given back.
func (b *Book) Busy() (back func()) {
	for range cap(b.room) {
		b.room <- struct{}{}
	}
	return func() {
		for range cap(b.room) {
			<-b.room
		}
	}
}
