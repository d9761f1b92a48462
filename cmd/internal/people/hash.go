package people

import (
	"context"
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"fmt"
	"strings"
	"time"

	"golang.org/x/crypto/argon2"
)

// cost is what one hash takes.
type cost struct {
	memory  uint32 // KiB
	rounds  uint32
	threads uint8
}

// strong is OWASP's first recommendation (Password Storage Cheat Sheet, "Argon2id": m=19456 KiB, t=2, p=1) with one
// round more: a sign-in happens a few times a day, and on a small server still takes well under a tenth of a second.
var strong = cost{memory: 19456, rounds: 3, threads: 1}

// What may be computed at a time (4 × 19 MiB), and how long a sign-in waits for its turn.
const (
	hashesAtOnce = 4
	waitForTurn  = 10 * time.Second
)

const saltBytes, keyBytes = 16, 32

// turn waits until one more hash may be computed; give it back with the function it returns.
func (b *Book) turn(ctx context.Context) (back func(), err error) {
	timer := time.NewTimer(waitForTurn)
	defer timer.Stop()
	select {
	case b.room <- struct{}{}:
		return func() { <-b.room }, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	case <-timer.C:
		busy := refused(TooSoon, "too many people are signing in at once: wait a moment, then try again")
		busy.Wait = waitForTurn
		return nil, busy
	}
}

// hash encodes a password as a PHC string.
func (b *Book) hash(ctx context.Context, password string) (string, error) {
	back, err := b.turn(ctx)
	if err != nil {
		return "", err
	}
	defer back()
	salt := make([]byte, saltBytes)
	rand.Read(salt) // never fails: see crypto/rand
	key := argon2.IDKey([]byte(password), salt, b.cost.rounds, b.cost.memory, b.cost.threads, keyBytes)
	enc := base64.RawStdEncoding
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, b.cost.memory, b.cost.rounds, b.cost.threads,
		enc.EncodeToString(salt), enc.EncodeToString(key)), nil
}

// matches compares a password with a PHC string. An empty one, which nobody's password has, costs the same and never matches.
func (b *Book) matches(ctx context.Context, password, phc string) (bool, error) {
	there := phc != ""
	c, salt, key := b.cost, make([]byte, saltBytes), make([]byte, keyBytes)
	if there {
		var err error
		if c, salt, key, err = parsePHC(phc); err != nil {
			return false, err
		}
	}
	back, err := b.turn(ctx)
	if err != nil {
		return false, err
	}
	defer back()
	got := argon2.IDKey([]byte(password), salt, c.rounds, c.memory, c.threads, uint32(len(key)))
	return subtle.ConstantTimeCompare(got, key) == 1 && there, nil
}

// weaker reports whether a PHC string was made at a lower cost than now.
func (b *Book) weaker(phc string) bool {
	c, _, _, err := parsePHC(phc)
	return err == nil && (c.memory < b.cost.memory || c.rounds < b.cost.rounds)
}

// parsePHC takes apart $argon2id$v=19$m=…,t=…,p=…$salt$key, within bounds that a damaged file cannot exceed.
func parsePHC(phc string) (c cost, salt, key []byte, err error) {
	bad := fmt.Errorf("a stored password cannot be read: give its owner a new link with heeltap people reset")
	parts := strings.Split(phc, "$")
	if len(parts) != 6 || parts[1] != "argon2id" || parts[2] != fmt.Sprintf("v=%d", argon2.Version) {
		return c, nil, nil, bad
	}
	if n, err := fmt.Sscanf(parts[3], "m=%d,t=%d,p=%d", &c.memory, &c.rounds, &c.threads); n != 3 || err != nil {
		return c, nil, nil, bad
	}
	salt, saltErr := base64.RawStdEncoding.Strict().DecodeString(parts[4])
	key, keyErr := base64.RawStdEncoding.Strict().DecodeString(parts[5])
	ok := saltErr == nil && keyErr == nil && len(salt) >= 8 && len(salt) <= 64 && len(key) >= 16 && len(key) <= 64 &&
		c.memory >= 8 && c.memory <= 1<<20 && c.rounds >= 1 && c.rounds <= 64 && c.threads >= 1
	if !ok {
		return c, nil, nil, bad
	}
	return c, salt, key, nil
}
