package labels

import (
	"fmt"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func ExamplePayload() {
	bare, _ := Payload("", "LOT-123")
	address, _ := Payload("http://192.168.1.5:8417", "LOT-123")
	fmt.Println(bare)
	fmt.Println(address)
	fmt.Println(ParsePayload(bare), ParsePayload(address))
	// Output:
	// LOT-123
	// http://192.168.1.5:8417/t/LOT-123
	// LOT-123 LOT-123
}

func TestPayload(t *testing.T) {
	tests := []struct{ name, base, code, want string }{
		{"bare code", "", "L-0417", "L-0417"},
		{"bare keg filling", "", "K0417/R2031", "K0417/R2031"},
		{"bare code with a space", "", "Pallet 7", "Pallet 7"},
		{"bare code with a percent sign", "", "50%25", "50%25"},
		{"letters outside ASCII", "", "Grün-1", "/t/Gr%C3%BCn-1"},
		{"outer spaces", "", " A ", "/t/%20A%20"},
		{"a code that looks like an address", "", "http://x/t/y", "/t/http%3A%2F%2Fx%2Ft%2Fy"},
		{"address", "http://192.168.1.5:8417", "LOT-123", "http://192.168.1.5:8417/t/LOT-123"},
		{"address of a keg filling", "http://brew.example", "K0417/R2031", "http://brew.example/t/K0417/R2031"},
		{"base with a path and a slash", "https://brew.example/tags/", "L 1", "https://brew.example/tags/t/L%201"},
		{"percent, question mark and fragment", "http://h", "a%b?c#d", "http://h/t/a%25b%3Fc%23d"},
		{"slash that is not a filling's", "http://h", "t/x", "http://h/t/t%2Fx"},
		{"slash at the end", "http://h", "x/", "http://h/t/x%2F"},
		{"IPv6", "http://[fe80::1]:8417", "A", "http://[fe80::1]:8417/t/A"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			got, err := Payload(test.base, test.code)
			require.NoError(t, err)
			require.Equal(t, test.want, got)
			require.Equal(t, test.code, ParsePayload(got))
		})
	}
}

func TestPayloadRefuses(t *testing.T) {
	tests := []struct{ name, base, code, says string }{
		{"empty code", "", "", "needs a code"},
		{"one of several", "", "A|B", "| ; @"},
		{"list", "", "A;B", "| ; @"},
		{"moment", "", "FV2@2026-03-04", "| ; @"},
		{"line break", "", "A\nB", "no text"},
		{"broken UTF-8", "", "A\xff", "no text"},
		{"dots that browsers take out", "", "..", "cannot stand"},
		{"dots in a filling", "", "K1/.", "cannot stand"},
		{"no scheme", "192.168.1.5:8417", "A", "server address"},
		{"other scheme", "ftp://h", "A", "http://192.168.1.5:8417"},
		{"no host", "http://", "A", "http://192.168.1.5:8417"},
		{"only a port", "http://:8417", "A", "http://192.168.1.5:8417"},
		{"password", "http://a:b@h", "A", "leave out"},
		{"query", "http://h/?x=1", "A", "leave out"},
		{"empty query", "http://h?", "A", "leave out"},
		{"fragment", "http://h/#x", "A", "leave out"},
		{"letters outside ASCII", "http://brüw.example", "A", "plain ASCII"},
		{"space", "http://h/a b", "A", "plain ASCII"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			got, err := Payload(test.base, test.code)
			require.ErrorContains(t, err, test.says)
			require.Empty(t, got)
		})
	}
}

func TestParsePayload(t *testing.T) {
	tests := []struct{ name, text, want string }{
		{"bare code", "LOT-123", "LOT-123"},
		{"line end of a hand scanner", "LOT-123\r\n", "LOT-123"},
		{"typed with spaces around", "  K0417/R2031 ", "K0417/R2031"},
		{"a typed percent sign is itself", "50%25", "50%25"},
		{"address", "http://192.168.1.5:8417/t/LOT-123", "LOT-123"},
		{"scheme in capitals", "HTTP://192.168.1.5/t/LOT-123", "LOT-123"},
		{"another server's name for us", "https://brew.example/x/t/LOT-123", "LOT-123"},
		{"keg filling with its slash escaped", "http://h/t/K1%2FR2", "K1/R2"},
		{"keg filling with its slash plain", "http://h/t/K1/R2", "K1/R2"},
		{"plus is a plus", "http://h/t/A+B", "A+B"},
		{"query and fragment are dropped", "http://h/t/A?from=scan#top", "A"},
		{"foreign address", "https://example.com/product/1", "https://example.com/product/1"},
		{"broken escape", "http://h/t/A%ZZ", "http://h/t/A%ZZ"},
		{"no code behind the mark", "http://h/t/", "http://h/t/"},
		{"escape that is no text", "http://h/t/%FF", "http://h/t/%FF"},
		{"nothing", "", ""},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			require.Equal(t, test.want, ParsePayload(test.text))
		})
	}
}

// codes draws codes of all sorts: plausible ones, and any text allowed.
func codes() *rapid.Generator[string] {
	plausible := rapid.StringMatching(`[A-Z]{1,3}[-. ]?[0-9]{1,6}(/[A-Z][0-9]{1,4})?`)
	awkward := rapid.StringOfN(rapid.SampledFrom([]rune("At/0.%2F +-_:?#&=\\\"'<>ÄłčΩЖ麦😀\u00a0")), 1, 14, -1)
	anything := rapid.StringN(1, 14, -1)
	return rapid.OneOf(plausible, awkward, anything).Filter(func(s string) bool { return checkCode(s) == nil })
}

// bases draws server addresses, none being one of them.
func bases() *rapid.Generator[string] {
	return rapid.SampledFrom([]string{"", "http://192.168.1.5:8417", "https://brew.example/", "http://h/t", "http://h/t/t/", "http://[::1]:80/a%20b"})
}

func TestPayloadRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		base, code := bases().Draw(t, "base"), codes().Draw(t, "code")
		payload, err := Payload(base, code)
		require.NoError(t, err)
		require.True(t, isPlain(payload), "one line of ASCII: %q", payload)
		require.Equal(t, code, ParsePayload(payload))
		require.Equal(t, code, ParsePayload(payload+"\r\n"))
		if base == "" {
			return
		}
		// What a browser makes of the address: the code is the end of its path.
		u, err := url.Parse(payload)
		require.NoError(t, err)
		require.True(t, strings.HasSuffix(u.Path, "/t/"+code), "path %q", u.Path)
		require.Equal(t, payload, u.JoinPath().String(), "an address that is cleaned on the way must stay the same")
	})
}

func FuzzParsePayload(f *testing.F) {
	for _, seed := range []string{"LOT-123", "http://h/t/K1%2FR2", "/t/%20A", "https://h/t/t%2Fx?y#z", " /t/ ", "HTTP://"} {
		f.Add("http://h", seed)
	}
	f.Fuzz(func(t *testing.T, base, text string) {
		code := ParsePayload(text)
		payload, err := Payload(base, code)
		if err != nil {
			return
		}
		require.Equal(t, code, ParsePayload(payload))
	})
}
