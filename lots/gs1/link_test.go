package gs1_test

import (
	"errors"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/lots/gs1"
)

func TestLinks(t *testing.T) {
	for _, row := range vectors(t, "gs1_digital_link.tsv", 23) {
		m, err := gs1.ParseLink(row[0])
		if strings.HasPrefix(row[1], "REJECT") {
			var wrong *gs1.Error
			require.True(t, errors.As(err, &wrong), "%v: %v", row, err)
			t.Log(row[0], "->", err)
			continue
		}
		require.NoError(t, err, row[0])
		require.Equal(t, row[1], m.String())
	}
}

func TestLinksBuilt(t *testing.T) {
	for _, row := range vectors(t, "gs1_digital_link_build.tsv", 8) {
		link, err := gs1.Link(row[0], must(t, row[1]))
		if strings.HasPrefix(row[2], "REJECT") {
			require.Error(t, err, row[1])
			continue
		}
		require.NoError(t, err, row[1])
		require.Equal(t, row[2], link)
	}
	require.Equal(t, "%21%22%23%25%26%27%28%29%2A%2B%2C%2F%3A%3B%3C%3D%3E%3F", gs1.Escape("!\"#%&'()*+,/:;<=>?"))
}

func TestLinksRefused(t *testing.T) {
	for text, want := range map[string]string{
		"https://id.gs1.org/01/09520123456788/10/ABC/22/2A": "behind it may stand only (22) (10) (21) or (235), in this order",
		"https://id.gs1.org/01/09520123456788/235/A/10/B":   "behind it may stand only",
		"https://id.gs1.org/00/952012345678912345/10/A":     "behind it may stand only nothing",
		"https://id.gs1.org/01/09520123456788?21=1":         "it may not stand behind the ?",
		"https://id.gs1.org/01/09520123456788?89=1":         "89 is no application identifier",
		"https://id.gs1.org/01/09520123456788/":             "not even a slash",
		"https://id.gs1.org/01/09520123456788/10/%2":        "two hexadecimal digits",
		"https://id.gs1.org/01/09520123456788?99=A+B":       "' ' may not stand here",
		"https://id.gs1.org/ARFKk4XB1CDJhA8ASJ5dfB8FKpUw":   "compressed",
		"https:///01/09520123456788":                        "names no host",
		"https://id.gs1.org/01/09520123456788/10/A b":       "may not stand in an address",
	} {
		_, err := gs1.ParseLink(text)
		require.ErrorContains(t, err, want, text)
	}
	for _, text := range []string{"http://192.168.1.5:8417/t/LOT-123", "http://192.168.1.5:8417/t/K0417/R26-0031", "https://example.com", "https://example.com/a/b"} {
		_, err := gs1.ParseLink(text)
		require.ErrorIs(t, err, gs1.ErrNone, text)
	}
}

func FuzzParseLink(f *testing.F) {
	for _, row := range vectors(f, "gs1_digital_link.tsv", 23) {
		f.Add(row[0])
	}
	f.Fuzz(func(t *testing.T, text string) {
		m, err := gs1.ParseLink(text)
		if err != nil {
			return
		}
		link, err := gs1.Link(gs1.CanonicalStem, m)
		require.NoError(t, err, text)
		again, err := gs1.ParseLink(link)
		require.NoError(t, err, link)
		require.Equal(t, m.String(), again.String(), text)
	})
}
