package store

import (
	"crypto/ed25519"
	"crypto/rand"
	"crypto/x509"
	"encoding/base64"
	"encoding/hex"
	"encoding/pem"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"heeltap/lots"
)

// Head is where a journal ended once: the sequence of its last entry, and that entry's hash, which covers all before it. Written
// down where nobody who can change the file can change it, it proves later that nothing up to there was changed or cut off.
type Head struct {
	Seq  int64
	Hash []byte // SHA-256; of a short head only its first bytes
}

// shortHash is how many bytes of a hash a short head has: to find another history with the same, 2^64 would have to be tried.
const shortHash = 8

// Short writes the head so that it can be copied by hand: 812:3f9a-22c1-4b07-d3e1.
func (h Head) Short() string {
	if len(h.Hash) < shortHash {
		return "0:empty"
	}
	digits := hex.EncodeToString(h.Hash[:shortHash])
	return fmt.Sprintf("%d:%s-%s-%s-%s", h.Seq, digits[:4], digits[4:8], digits[8:12], digits[12:])
}

var headText = regexp.MustCompile(`^(\d{1,18}):([0-9a-fA-F -]{16,})$`)

// ParseHead reads a head as papers and audits print it, short or whole.
func ParseHead(text string) (Head, error) {
	wrong := lots.Errorf(lots.Invalid, "%q is no head of a journal: give it as papers and audits print it, such as 812:3f9a-22c1-4b07-d3e1", text)
	m := headText.FindStringSubmatch(strings.TrimSpace(text))
	if m == nil {
		return Head{}, wrong
	}
	seq, err := strconv.ParseInt(m[1], 10, 64)
	hash, bad := hex.DecodeString(strings.NewReplacer("-", "", " ", "").Replace(m[2]))
	if err != nil || bad != nil || seq < 1 || len(hash) < shortHash || len(hash) > 32 {
		return Head{}, wrong
	}
	return Head{seq, hash}, nil
}

// LastEntry is where the journal ends.
func (tx *Tx) LastEntry() (Head, error) {
	seq, hash, _, err := tx.head()
	return Head{seq, hash}, err
}

// extends reports what speaks against the journal having grown from a head; empty where nothing does. That the chain holds is
// the audit's.
func (tx *Tx) extends(h Head) (string, error) {
	e, ok, err := tx.Entry(h.Seq)
	switch {
	case err != nil:
		return "", err
	case !ok:
		return fmt.Sprintf("the journal had an entry %d, with hash %x, and it is gone: the journal was cut off", h.Seq, h.Hash), nil
	case string(e.Hash[:min(len(h.Hash), len(e.Hash))]) != string(h.Hash):
		return fmt.Sprintf("entry %d had the hash %x, and has %x now: it, or an entry before it, was rewritten", h.Seq, h.Hash, e.Hash[:min(len(h.Hash), len(e.Hash))]), nil
	}
	return "", nil
}

// Checkpoint is a head that somebody signed, to be kept by somebody else.
type Checkpoint struct {
	Head
	Site   string
	At     time.Time
	Signer ed25519.PublicKey
}

const checkpointTitle = "heeltap checkpoint 1"

// text is what is signed.
func (c Checkpoint) text() string {
	return fmt.Sprintf("%s\nsite: %s\nhead: %d:%x\nat: %s\nsigner: %s\n", checkpointTitle, strings.Join(strings.Fields(c.Site), " "), c.Seq, c.Hash,
		c.At.UTC().Format(time.RFC3339), base64.StdEncoding.EncodeToString(c.Signer))
}

// Sign writes the checkpoint with its signature.
func (c Checkpoint) Sign(key ed25519.PrivateKey) []byte {
	c.Signer = key.Public().(ed25519.PublicKey)
	text := c.text()
	return []byte(text + "signature: " + base64.StdEncoding.EncodeToString(ed25519.Sign(key, []byte(text))) + "\n")
}

// ParseCheckpoint reads a checkpoint and checks its signature, but not whose it is: Signer says that.
func ParseCheckpoint(data []byte) (c Checkpoint, err error) {
	wrong := func(what string) error {
		return lots.Errorf(lots.Invalid, "this is no checkpoint as heeltap vouch writes it: %s", what)
	}
	lines := strings.Split(strings.ReplaceAll(string(data), "\r\n", "\n"), "\n")
	if len(lines) != 7 || lines[0] != checkpointTitle || lines[6] != "" {
		return c, wrong("it has not its six lines")
	}
	values := make([]string, 5)
	for i, name := range []string{"site", "head", "at", "signer", "signature"} {
		value, ok := strings.CutPrefix(lines[i+1], name+": ")
		if !ok {
			return c, wrong("line " + strconv.Itoa(i+2) + " is not its " + name)
		}
		values[i] = value
	}
	c.Site = values[0]
	if c.Head, err = ParseHead(values[1]); err != nil || len(c.Hash) != 32 {
		return c, wrong("its head is none")
	}
	if c.At, err = time.Parse(time.RFC3339, values[2]); err != nil {
		return c, wrong("its time is none")
	}
	signer, err := base64.StdEncoding.DecodeString(values[3])
	signature, bad := base64.StdEncoding.DecodeString(values[4])
	if err != nil || bad != nil || len(signer) != ed25519.PublicKeySize {
		return c, wrong("its signature is none")
	}
	c.Signer = signer
	if !ed25519.Verify(c.Signer, []byte(strings.Join(lines[:5], "\n")+"\n"), signature) {
		return c, lots.Errorf(lots.Invalid, "the checkpoint was changed after it was signed: its signature does not fit")
	}
	return c, nil
}

// SignerName writes a public key as people compare it.
func SignerName(key ed25519.PublicKey) string { return base64.StdEncoding.EncodeToString(key) }

// NewKey makes a key to sign checkpoints with, as it is kept in a file.
func NewKey() ([]byte, error) {
	_, key, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		return nil, err
	}
	der, err := x509.MarshalPKCS8PrivateKey(key)
	return pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der}), err
}

// ParseKey reads a key from a file's content.
func ParseKey(data []byte) (ed25519.PrivateKey, error) {
	if block, _ := pem.Decode(data); block != nil && block.Type == "PRIVATE KEY" {
		if key, err := x509.ParsePKCS8PrivateKey(block.Bytes); err == nil {
			if key, ok := key.(ed25519.PrivateKey); ok {
				return key, nil
			}
		}
	}
	return nil, lots.Errorf(lots.Invalid, "this is no Ed25519 key (PEM, PKCS #8): make one with heeltap vouch --new-key FILE")
}
