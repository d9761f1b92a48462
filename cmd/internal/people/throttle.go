package people

import (
	"fmt"
	"hash/fnv"
	"net/netip"
	"slices"
	"time"
)

// Wrong tries cost time: some are free, then each doubles the wait, up to a longest one. They are counted
//
//   - for a person at an address,
//   - for a person from all addresses together, and
//   - for an address, whoever is tried there,
//
// and what is known of a login that is nobody's is counted like a person's, so that waiting tells nothing.
//
// Nobody is ever locked out for good, because a stranger who knows a login could do that to anybody, and in a recall somebody
// has to get in. (NIST SP 800-63B, section 5.2.2 of revision 3, allows waits from 30 seconds up to an hour instead of
// only counting to 100.) Instead: at an address where somebody signed in during the last thirty days, only what was tried
// for them at that very address counts, and makes them wait a minute at most. A stranger elsewhere cannot make them
// wait at all. A stranger at the same address can, a minute at a time; the list of what happened shows it, and a new
// one-time link, which waits for nothing, clears the waits. From all other addresses together, a login can be tried
// about 130 times on the first day and a hundred times a day after that.
//
// A try is charged before the password is compared and given back if it was right: tries at the same time do not slip past.
type rule struct {
	free        int
	first, most time.Duration
}

var (
	atKnown    = rule{free: 5, first: 2 * time.Second, most: time.Minute}
	atUnknown  = rule{free: 5, first: 2 * time.Second, most: 15 * time.Minute}
	everyPlace = rule{free: 20, first: 2 * time.Second, most: 15 * time.Minute}
	everybody  = rule{free: 30, first: 2 * time.Second, most: 15 * time.Minute}
	atTablet   = rule{free: 10, first: 2 * time.Second, most: time.Minute}
	ofPIN      = rule{free: 3, first: 5 * time.Second, most: 5 * time.Minute}
)

// forgotten is how long after the last wrong try the count begins again.
const forgotten = 24 * time.Hour

// familiar is how long an address stays known after somebody signed in there.
const familiar = 30 * 24 * time.Hour

// wait is how long the next try has to wait after so many failed ones.
func (r rule) wait(failed int) time.Duration {
	if failed < r.free {
		return 0
	}
	return min(r.most, r.first<<min(failed-r.free, 20))
}

// charge is one try counted under several keys.
type charge struct {
	key  string
	rule rule
}

// place brings an address to what is counted: a port is left out, and an IPv6 address stands for its network,
// since one machine can have any number of addresses there.
func place(from string) string {
	ip, err := netip.ParseAddr(from)
	if err != nil {
		both, err := netip.ParseAddrPort(from)
		if err != nil {
			return from[:min(len(from), 64)]
		}
		ip = both.Addr()
	}
	ip = ip.Unmap().WithZone("")
	if ip.Is6() {
		net, _ := ip.Prefix(64)
		return net.String()
	}
	return ip.String()
}

// stranger is the key of a login that is nobody's: one of 65,536, because what was typed may be a password.
func stranger(login string) string {
	h := fnv.New32a()
	h.Write([]byte(login))
	return fmt.Sprintf("nobody %d", h.Sum32()&0xffff)
}

// charges lists what a password try for a person (a key) at a place is counted under.
func (t *tx) charges(who string, id int64, place string) ([]charge, error) {
	pair := charge{who + " at " + place, atUnknown}
	var known int
	if err := t.row("SELECT count(*) FROM known WHERE person = ? AND place = ? AND last > ?", id, place, t.now.Add(-familiar).UnixMilli()).Scan(&known); err != nil {
		return nil, err
	}
	if known > 0 {
		pair.rule = atKnown
		return []charge{pair}, nil
	}
	return []charge{pair, {who, everyPlace}, {"at " + place, everybody}}, nil
}

// take counts a try under every key, unless one of them has to wait.
func (t *tx) take(all []charge) error {
	if err := t.exec("DELETE FROM throttle WHERE last < ? AND until < ?", t.now.Add(-forgotten).UnixMilli(), t.now.UnixMilli()); err != nil {
		return err
	}
	failed := make([]int, len(all))
	var until int64
	for i, c := range all {
		var u int64
		if err := t.row("SELECT failed, until FROM throttle WHERE key = ?", c.key).Scan(&failed[i], &u); err != nil && !none(err) {
			return err
		}
		until = max(until, u)
	}
	if wait := at(until).Sub(t.now); wait > 0 {
		return tooSoon(wait)
	}
	for i, c := range all {
		now := t.now.UnixMilli()
		until := t.now.Add(c.rule.wait(failed[i] + 1)).UnixMilli()
		if err := t.exec("INSERT OR REPLACE INTO throttle (key, failed, last, until) VALUES (?, ?, ?, ?)", c.key, failed[i]+1, now, until); err != nil {
			return err
		}
	}
	return nil
}

// giveBack undoes a try that was right: it ends the count of the first key, and takes that count off the others.
// NIST SP 800-63B, section 5.2.2 of revision 3: after a success, failed tries from the same address are disregarded.
func (t *tx) giveBack(all []charge) error {
	var failed int
	if err := t.row("SELECT failed FROM throttle WHERE key = ?", all[0].key).Scan(&failed); err != nil && !none(err) {
		return err
	}
	for i, c := range all {
		less := failed
		if i > 1 { // an address is not cleared by somebody who has a password of their own there
			less = 1
		}
		if err := t.exec("UPDATE throttle SET failed = max(0, failed - ?), until = ? WHERE key = ?", less, t.now.UnixMilli(), c.key); err != nil {
			return err
		}
	}
	return nil
}

// clear ends all waits of a person.
func (t *tx) clear(id int64) error {
	who := whoKey(id)
	return t.exec("DELETE FROM throttle WHERE key = ? OR substr(key, 1, ?) = ?", who, len(who)+1, who+" ")
}

func whoKey(id int64) string { return fmt.Sprintf("person %d", id) }

// notedFrom is an address as it is written down.
func notedFrom(from string) string {
	clean := []rune(from)
	clean = slices.DeleteFunc(clean, func(r rune) bool { return r < ' ' || r == 0x7f })
	return string(clean[:min(len(clean), 64)])
}
