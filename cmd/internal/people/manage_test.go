package people_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/cmd/internal/people"
)

func TestTheLastAdminStays(t *testing.T) {
	b, _, quint := setUp(t)
	console := people.Console("Quint")
	last := func() {
		t.Helper()
		for _, by := range []people.Person{quint, console} {
			require.ErrorContains(t, b.SetOff(t.Context(), by, quint.ID, true), "is the last")
			require.ErrorContains(t, b.SetRole(t.Context(), by, quint.ID, people.Quality), "is the last")
		}
	}
	last()
	_, invited, err := b.Invite(t.Context(), quint, "Ines", "ines", people.Admin)
	require.NoError(t, err)
	last() // who has no password yet cannot stand in
	link, err := b.Reset(t.Context(), quint, invited.ID)
	require.NoError(t, err)
	ines, err := b.Redeem(t.Context(), link, good)
	require.NoError(t, err)
	require.NoError(t, b.SetOff(t.Context(), quint, ines.ID, true))
	last() // nor who is switched off
	require.NoError(t, b.SetOff(t.Context(), quint, ines.ID, false))
	require.NoError(t, b.SetRole(t.Context(), ines, quint.ID, people.Floor))
	require.Equal(t, people.MayNot, why(t, b.SetRole(t.Context(), quint, quint.ID, people.Admin)), "it counts what the list says now, not what the caller remembers")
	require.ErrorContains(t, b.SetOff(t.Context(), ines, ines.ID, true), "is the last")
}

func TestOnlyAdminsManage(t *testing.T) {
	b, _, quint := setUp(t)
	for _, r := range people.Roles() {
		p := joined(t, b, "a-"+string(r), r)
		_, _, inviting := b.Invite(t.Context(), p, "New by "+string(r), "new-"+string(r), people.Viewer)
		_, resetting := b.Reset(t.Context(), p, quint.ID)
		for _, err := range []error{inviting, resetting, b.SetRole(t.Context(), p, p.ID, people.Admin), b.Rename(t.Context(), p, p.ID, "N. N. "+string(r)), b.SetOff(t.Context(), p, p.ID, false)} {
			if r == people.Admin {
				require.NoError(t, err)
			} else {
				require.Equal(t, people.MayNot, why(t, err))
			}
		}
	}
	for _, forged := range []people.Person{{}, {Role: people.Admin}, {ID: 99, Role: people.Admin}} {
		require.Error(t, b.SetOff(t.Context(), forged, quint.ID, true))
	}
}

func TestWhatAPersonCanBeCalled(t *testing.T) {
	b, _, quint := setUp(t)
	for _, c := range []struct{ name, login, wrong string }{
		{"Mika", "mika", ""},
		{"Mika", "mika2", "tell them apart"},
		{" MIKA ", "mika2", "tell them apart"},
		{"Other", "MIKA", "taken"},
		{"", "none", "1 to 80"},
		{"two\x00lines", "none", "1 to 80"},
		{strings.Repeat("x", 81), "none", "1 to 80"},
		{"Fine", "with space", "2 to 64"},
		{"Fine", "a", "2 to 64"},
		{"Fine", "", "2 to 64"},
	} {
		_, _, err := b.Invite(t.Context(), quint, c.name, c.login, people.Floor)
		if c.wrong == "" {
			require.NoError(t, err)
		} else {
			require.ErrorContains(t, err, c.wrong)
		}
	}
	_, _, err := b.Invite(t.Context(), quint, "Fine", "fine", "boss")
	require.ErrorContains(t, err, "viewer, floor, quality, admin")

	mika, err := b.ByLogin(t.Context(), "mika")
	require.NoError(t, err)
	require.NoError(t, b.Rename(t.Context(), quint, mika.ID, "Mika Brand"))
	names, err := b.Names(t.Context(), mika.ID)
	require.NoError(t, err)
	require.Equal(t, []string{"Mika", "Mika Brand"}, names)
	_, _, err = b.Invite(t.Context(), quint, "mika", "mika2", people.Floor)
	require.ErrorContains(t, err, "tell them apart", "a name that somebody had stays theirs: the journal has it")
	require.NoError(t, b.Rename(t.Context(), quint, mika.ID, "Mika"), "and they can have it back")
	all, err := b.People(t.Context())
	require.NoError(t, err)
	require.Len(t, all, 2, "what is refused leaves nothing behind")
}

// A stored password grows stronger when its owner signs in.
func TestAHashIsMadeStrongerAtSignIn(t *testing.T) {
	b, _, _ := setUp(t)
	stored := func() string {
		s, err := b.Stored(t.Context(), "SELECT password FROM person")
		require.NoError(t, err)
		return s
	}
	require.True(t, strings.HasPrefix(stored(), "$argon2id$v=19$m=64,t=1,p=1$"), stored())
	b.Dear()
	_, _, err := b.SignIn(t.Context(), "quint", "wrong wrong wrong", here)
	require.Error(t, err)
	require.Contains(t, stored(), "t=1,")
	signedIn(t, b, "quint")
	require.Contains(t, stored(), "t=2,")
	b.Cheap()
	signedIn(t, b, "quint")
	require.Contains(t, stored(), "t=2,", "and never weaker")
}

// What happened can be read and not changed; nothing of what was typed in secret, nor any token, is anywhere in the file.
func TestWhatHappenedIsKeptAndSecretsAreNot(t *testing.T) {
	b, _, quint := setUp(t)
	token := signedIn(t, b, "quint")
	_, _, err := b.SignIn(t.Context(), "i typed my password here", "wrong wrong wrong", elsewhere)
	require.Error(t, err)
	require.NotContains(t, err.Error(), "typed")
	mika := joined(t, b, "mika", people.Floor)
	require.NoError(t, b.SetPIN(t.Context(), mika, good, "58203"))
	tablet, err := b.RegisterDevice(t.Context(), quint, "cellar")
	require.NoError(t, err)
	byPIN, _, err := b.SwitchByPIN(t.Context(), tablet, "mika", "58203", here)
	require.NoError(t, err)
	link, err := b.Reset(t.Context(), quint, mika.ID)
	require.NoError(t, err)
	require.NoError(t, b.SetRole(t.Context(), quint, mika.ID, people.Quality))

	all, err := b.Happened(t.Context(), 100)
	require.NoError(t, err)
	var lines []string
	for _, h := range all {
		require.False(t, h.At.IsZero())
		lines = append(lines, strings.Join([]string{h.What, h.Who, h.By, h.From, h.Note}, "|"))
	}
	require.Equal(t, []string{
		"role changed|mika|quint||from floor to quality",
		"new link|mika|quint||",
		"signed in by PIN|mika||cellar 192.0.2.7|",
		"tablet registered||quint|cellar|",
		"PIN set|mika|||",
		"password set|mika|||by a one-time link",
		"invited|mika|Quint (command line)||as floor",
		"wrong password|||198.51.100.9|a login that is nobody's",
		"signed in|quint||192.0.2.7|",
		"set up|quint|||",
	}, lines)
	few, err := b.Happened(t.Context(), 2)
	require.NoError(t, err)
	require.Equal(t, all[:2], few)
	require.ErrorContains(t, b.Exec(t.Context(), "DELETE FROM happened"), "never deleted")
	require.ErrorContains(t, b.Exec(t.Context(), "UPDATE happened SET who = ''"), "never changed")

	require.NoError(t, b.Exec(t.Context(), "PRAGMA wal_checkpoint(TRUNCATE)"))
	for _, ending := range []string{"", "-wal"} {
		raw, err := os.ReadFile(b.Path() + ending)
		require.NoError(t, err)
		for _, secret := range []string{good, "58203", "typed my", token, tablet, byPIN, link} {
			require.NotContains(t, string(raw), secret)
		}
	}
}

func TestTheFileIsOursAlone(t *testing.T) {
	b, c, _ := setUp(t)
	require.NoError(t, b.SignOut(t.Context(), signedIn(t, b, "quint")))
	for _, ending := range []string{"", "-wal", "-shm"} {
		info, err := os.Stat(b.Path() + ending)
		require.NoError(t, err)
		require.Equal(t, os.FileMode(0o600), info.Mode().Perm(), ending)
	}
	require.NoError(t, os.Chmod(b.Path(), 0o644))
	again, err := people.Open(t.Context(), b.Path())
	require.NoError(t, err)
	again.Now = func() time.Time { return c.now }
	info, err := os.Stat(b.Path())
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm(), "others lose what they could read")
	require.NoError(t, b.Exec(t.Context(), "PRAGMA user_version = 99"))
	require.NoError(t, again.Close())
	_, err = people.Open(t.Context(), b.Path())
	require.ErrorContains(t, err, "use a newer heeltap")
	require.NoError(t, b.Exec(t.Context(), "PRAGMA application_id = 1"))
	_, err = people.Open(t.Context(), b.Path())
	require.ErrorContains(t, err, "is not heeltap's list of people")

	folder := t.TempDir()
	note := filepath.Join(folder, "note.txt")
	require.NoError(t, os.WriteFile(note, []byte("this is a note"), 0o600))
	_, err = people.Open(t.Context(), note)
	require.ErrorContains(t, err, "is not heeltap's list of people")
	_, err = people.Open(t.Context(), folder)
	require.ErrorContains(t, err, "is not a file")
	_, err = people.Open(t.Context(), filepath.Join(folder, "none", "x.db"))
	require.ErrorContains(t, err, "cannot be made")
}

func TestWhereTheFileLies(t *testing.T) {
	for db, want := range map[string]string{"heeltap.db": "heeltap-people.db", "/a.b/records": "/a.b/records-people", "x.y.sqlite": "x.y-people.sqlite"} {
		require.Equal(t, want, people.PathFor(db))
	}
}
