package people

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
)

// A token is markBytes that find its row and secretBytes that prove it. The row is found by the mark and
// compared by the hash in constant time, so no search in an index depends on the secret.
const markBytes, secretBytes = 8, 24 // 192 bits of secret

// newToken makes a token, with what of it is stored.
func newToken() (token string, mark, hash []byte) {
	raw := make([]byte, markBytes+secretBytes)
	rand.Read(raw) // never fails: see crypto/rand
	return base64.RawURLEncoding.EncodeToString(raw), raw[:markBytes], hashed(raw)
}

func hashed(raw []byte) []byte {
	sum := sha256.Sum256(raw)
	return sum[:]
}

// proof is a token as it was given.
type proof struct{ mark, hash []byte }

// read takes a token apart; what is no token gives a proof that fits no row.
func read(token string) proof {
	raw, err := base64.RawURLEncoding.Strict().DecodeString(token)
	if err != nil || len(raw) != markBytes+secretBytes {
		return proof{mark: []byte{}, hash: []byte{}}
	}
	return proof{mark: raw[:markBytes], hash: hashed(raw)}
}

// fits compares with a stored hash in constant time.
func (p proof) fits(stored []byte) bool { return subtle.ConstantTimeCompare(p.hash, stored) == 1 }
