package people

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestWhichPasswordsAreAcceptable(t *testing.T) {
	for _, c := range []struct{ password, wrong string }{
		{"seven wet barrels", ""},
		{"elevenchars", "too short"},
		{"twelve chars", ""},
		{"", "too short"},
		{strings.Repeat("ab cde", 42) + "fghi", ""},          // 256
		{strings.Repeat("ab cde", 42) + "fghij", "too long"}, // 257
		{strings.Repeat("x", mostBytes+1), "too long"},
		{"zwölf Fässer", ""},                  // 12 characters in 14 bytes
		{"elf Fässer!", "too short"},          // 11 in 12 bytes
		{"kleine Fu\u0308ße!", ""},            // 12 after composing, 13 before
		{"kleine Fu\u0308ße", "too short"},    // 11 after composing, 12 before
		{"not UTF-8 \xff at all", "too long"}, // no text
		{"aaaaaaaaaaaa", "repeats or counts"},
		{"abcdabcdabcda", "repeats or counts"},
		{"abcdefghijklm", "repeats or counts"},
		{"012345678901", "repeats or counts"},
		{"987654321098", "repeats or counts"},
		{"Password2026!", "tried first"},
		{"P@ssw0rd-P@ssw0rd", "tried first"},
		{"1Q2w3e4r5t6y", "tried first"},
		{"iLoveBeer!!!!", "tried first"},
		{"qwertyuiop123", "tried first"},
		{"Correct Horse Battery Staple", "tried first"},
		{"mika.aldous2026", "your login or your name"},
		{"MikaAldous!!", "your login or your name"},
		{"alder-mika-alder-mika", "your login or your name"},
		{"alder-mika likes rain", ""},
	} {
		_, err := acceptable(c.password, "alder-mika", "Mika Aldous")
		if c.wrong == "" {
			require.NoError(t, err, c.password)
			continue
		}
		require.ErrorContains(t, err, c.wrong, c.password)
		if c.password != "" {
			require.NotContains(t, err.Error(), c.password, "an error does not repeat the password")
		}
	}
}

// The same text in different Unicode forms is the same password.
func TestPasswordsAreNormalised(t *testing.T) {
	composed, err := acceptable("zw\u00f6lf F\u00e4sser", "x", "y")
	require.NoError(t, err)
	decomposed, err := acceptable("zwo\u0308lf Fa\u0308sser", "x", "y")
	require.NoError(t, err)
	require.Equal(t, composed, decomposed)
	wide, err := acceptable("\uff54welve chars", "x", "y")
	require.NoError(t, err)
	require.Equal(t, "twelve chars", wide)
}

func TestWhichPINsAreRefused(t *testing.T) {
	for pin, fine := range map[string]bool{
		"4071": true, "58203": true, "90417362": true, "2714": true,
		"": false, "123": false, "123456789": false, "40a1": false, "٤٠٧١": false, " 4071": false,
		"0000": false, "1111": false, "1234": false, "4321": false, "7890": false, "12345678": false, "1212": false, "121212": false, "123123": false,
		"1221": false, "1998": false, "2026": false, "2580": false, "12121": false,
	} {
		err := checkPIN(pin)
		require.Equal(t, fine, err == nil, "%q: %v", pin, err)
	}
}

func TestWaitsDoubleUpToALongest(t *testing.T) {
	r := rule{free: 3, first: 5e9, most: 60e9}
	for failed, seconds := range []int{0, 0, 0, 5, 10, 20, 40, 60, 60} {
		require.Equal(t, float64(seconds), r.wait(failed).Seconds(), "%d failed", failed)
	}
	require.Equal(t, float64(60), r.wait(1<<40).Seconds())
}

func TestAnAddressIsCountedWithoutItsPort(t *testing.T) {
	for from, want := range map[string]string{
		"192.0.2.7": "192.0.2.7", "192.0.2.7:5123": "192.0.2.7", "::ffff:192.0.2.7": "192.0.2.7",
		"2001:db8:1:2:3:4:5:6": "2001:db8:1:2::/64", "[2001:db8:1:2:9::1]:443": "2001:db8:1:2::/64", "fe80::1%eth0": "fe80::/64",
		"": "", "somewhere": "somewhere", strings.Repeat("x", 99): strings.Repeat("x", 64),
	} {
		require.Equal(t, want, place(from), from)
	}
}

func TestADamagedHashIsAnErrorAndNothingElse(t *testing.T) {
	const fine = "$argon2id$v=19$m=64,t=1,p=1$AAAAAAAAAAAAAAAAAAAAAA$AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA"
	_, _, _, err := parsePHC(fine)
	require.NoError(t, err)
	for _, bad := range []string{
		"", "x", strings.Replace(fine, "argon2id", "argon2i", 1), strings.Replace(fine, "v=19", "v=16", 1), strings.Replace(fine, "m=64", "m=4294967295", 1),
		strings.Replace(fine, "t=1", "t=0", 1), strings.Replace(fine, "p=1", "p=0", 1), strings.Replace(fine, "p=1", "p=300", 1),
		strings.Replace(fine, "t=1", "t=-1", 1), strings.TrimSuffix(fine, "AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA"), fine + "$", fine + "!",
	} {
		_, _, _, err := parsePHC(bad)
		require.Error(t, err, bad)
	}
}

// What is kept is at least what OWASP's Password Storage Cheat Sheet recommends for argon2id: m=19456 KiB, t=2, p=1.
func TestTheCostIsStrongEnough(t *testing.T) {
	require.GreaterOrEqual(t, strong.memory, uint32(19456))
	require.GreaterOrEqual(t, strong.rounds, uint32(2))
	require.Equal(t, uint8(1), strong.threads)
}
