package gs1

import (
	"fmt"
	"slices"
	"strings"
)

// tests judge what a part of an element holds; they say what is wrong with it, or nothing. Sources: the GS1 General
// Specifications, and for the check character pair their section 7.9.5.
var tests = map[string]func(text string) string{
	"check":           checkFault,
	"check-pair":      checkPairFault,
	"prefix-1":        func(t string) string { return prefixFault(t, 0) },
	"prefix-2":        func(t string) string { return prefixFault(t, 1) },
	"month-or-day":    func(t string) string { return dateFault(t, true) },
	"day":             func(t string) string { return dateFault(t, false) },
	"long-day":        longDateFault,
	"time":            func(t string) string { return orElse(upTo(t[:2], 23, "hour"), upTo(t[2:], 59, "minute")) },
	"hour":            func(t string) string { return upTo(t, 23, "hour") },
	"minute":          func(t string) string { return upTo(t, 59, "minute") },
	"second":          func(t string) string { return upTo(t, 59, "second") },
	"country":         func(t string) string { return countryFault(t) },
	"country-or-999":  func(t string) string { return unless(t == "999", countryFault(t)) },
	"country-letters": func(t string) string { return unless(isCountry(t, 0, 2), t+" is no country") },
	"0-or-1":          func(t string) string { return unless(t == "0" || t == "1", "it is neither 0 nor 1") },
	"0":               func(t string) string { return unless(t == "0", "it must be 0") },
	"not-0":           func(t string) string { return unless(strings.Trim(t, "0") != "", "it must not be 0") },
	"no-leading-0":    func(t string) string { return unless(t == "0" || t[0] != '0', "it must not begin with 0") },
	"minus":           func(t string) string { return unless(t == "-", "only - may stand here") },
	"percent":         percentFault,
	"latitude":        func(t string) string { return unless(t <= "1800000000", "no latitude is that high") },
	"longitude":       func(t string) string { return unless(t <= "3600000000", "no longitude is that high") },
	"winding":         func(t string) string { return unless(strings.Contains("019", t), "it is none of 0 1 9") },
	"sex":             func(t string) string { return unless(strings.Contains("0129", t), "it is none of 0 1 2 9") },
	"piece-of-total":  pieceFault,
	"not-only-digits": func(t string) string {
		return unless(strings.Trim(t, "0123456789") != "", "it must hold more than digits")
	},
	"place-in-row": placeFault,
}

// unjudged are tests that nothing a brewery reads needs: only the length and the characters are checked.
var unjudged = []string{"currency", "iban", "coupon", "coupon-offer", "importer", "package", "medium"}

func unless(ok bool, fault string) string {
	if ok {
		return ""
	}
	return fault
}

func orElse(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

func checkFault(t string) string {
	want, _ := CheckDigit(t[:len(t)-1])
	return unless(want == t[len(t)-1], fmt.Sprintf("the check digit of %s is %c, not %c: a digit is wrong or two are swapped", t, want, t[len(t)-1]))
}

// prefixFault wants the digits that every company prefix begins with.
func prefixFault(t string, at int) string {
	return unless(len(t) >= at+4 && isDigits(t[at:at+4]), "it must begin with a company prefix")
}

func upTo(t string, most int, what string) string {
	return unless(number(t) <= most, fmt.Sprintf("there is no %s %s", what, t))
}

// letters82 are the characters of character set 82 in their order; letters32 those of check pairs.
const (
	letters82 = `!"%&'()*+,-./0123456789:;<=>?ABCDEFGHIJKLMNOPQRSTUVWXYZ_abcdefghijklmnopqrstuvwxyz`
	letters32 = "23456789ABCDEFGHJKLMNPQRSTUVWXYZ"
)

// checkPairFault judges the two check characters of a global model number.
func checkPairFault(t string) string {
	if len(t) < 3 {
		return "it is too short to have two check characters"
	}
	body, sum, prime := t[:len(t)-2], 0, 1
	for i := len(body) - 1; i >= 0; i-- {
		prime = nextPrime(prime)
		sum += strings.IndexByte(letters82, body[i]) * prime
	}
	sum %= 1021
	want := string([]byte{letters32[sum>>5], letters32[sum&31]})
	return unless(want == t[len(t)-2:], "its check characters are "+want+", not "+t[len(t)-2:])
}

func nextPrime(n int) int {
	for n++; ; n++ {
		prime := true
		for d := 2; d*d <= n; d++ {
			prime = prime && n%d != 0
		}
		if prime {
			return n
		}
	}
}

func percentFault(t string) string {
	for i := strings.IndexByte(t, '%'); i >= 0; i = next(t, i) {
		if i+2 >= len(t) || !isHex(t[i+1]) || !isHex(t[i+2]) {
			return "a percent sign must be followed by two hexadecimal digits"
		}
	}
	return ""
}

func next(t string, i int) int {
	if j := strings.IndexByte(t[i+1:], '%'); j >= 0 {
		return i + 1 + j
	}
	return -1
}

func isHex(c byte) bool { return strings.IndexByte("0123456789abcdefABCDEF", c) >= 0 }

func pieceFault(t string) string {
	piece, total := number(t[:2]), number(t[2:])
	return unless(piece > 0 && total > 0 && piece <= total, fmt.Sprintf("piece %s of %s cannot be", t[:2], t[2:]))
}

func placeFault(t string) string {
	return unless(t[1] == '/' && t[0] >= '1' && t[0] <= t[2] && t[2] <= '9', "it must read like 1/3")
}

// isDigits reports whether a text is digits throughout.
func isDigits(t string) bool {
	return !strings.ContainsFunc(t, func(r rune) bool { return r < '0' || r > '9' })
}

func countryFault(t string) string { return unless(isCountry(t, 2, 5), t+" is no country of ISO 3166") }

func isCountry(t string, from, to int) bool {
	return slices.ContainsFunc(strings.Fields(countries), func(c string) bool { return c[from:to] == t })
}

// countries are the 249 of ISO 3166-1: two letters and the number.
const countries = `AD020 AE784 AF004 AG028 AI660 AL008 AM051 AO024 AQ010 AR032 AS016 AT040 AU036 AW533 AX248 AZ031 BA070 BB052 BD050 BE056 BF854 BG100 BH048 BI108 BJ204
BL652 BM060 BN096 BO068 BQ535 BR076 BS044 BT064 BV074 BW072 BY112 BZ084 CA124 CC166 CD180 CF140 CG178 CH756 CI384 CK184 CL152 CM120 CN156 CO170 CR188
CU192 CV132 CW531 CX162 CY196 CZ203 DE276 DJ262 DK208 DM212 DO214 DZ012 EC218 EE233 EG818 EH732 ER232 ES724 ET231 FI246 FJ242 FK238 FM583 FO234 FR250
GA266 GB826 GD308 GE268 GF254 GG831 GH288 GI292 GL304 GM270 GN324 GP312 GQ226 GR300 GS239 GT320 GU316 GW624 GY328 HK344 HM334 HN340 HR191 HT332 HU348
ID360 IE372 IL376 IM833 IN356 IO086 IQ368 IR364 IS352 IT380 JE832 JM388 JO400 JP392 KE404 KG417 KH116 KI296 KM174 KN659 KP408 KR410 KW414 KY136 KZ398
LA418 LB422 LC662 LI438 LK144 LR430 LS426 LT440 LU442 LV428 LY434 MA504 MC492 MD498 ME499 MF663 MG450 MH584 MK807 ML466 MM104 MN496 MO446 MP580 MQ474
MR478 MS500 MT470 MU480 MV462 MW454 MX484 MY458 MZ508 NA516 NC540 NE562 NF574 NG566 NI558 NL528 NO578 NP524 NR520 NU570 NZ554 OM512 PA591 PE604 PF258
PG598 PH608 PK586 PL616 PM666 PN612 PR630 PS275 PT620 PW585 PY600 QA634 RE638 RO642 RS688 RU643 RW646 SA682 SB090 SC690 SD729 SE752 SG702 SH654 SI705
SJ744 SK703 SL694 SM674 SN686 SO706 SR740 SS728 ST678 SV222 SX534 SY760 SZ748 TC796 TD148 TF260 TG768 TH764 TJ762 TK772 TL626 TM795 TN788 TO776 TR792
TT780 TV798 TW158 TZ834 UA804 UG800 UM581 US840 UY858 UZ860 VA336 VC670 VE862 VG092 VI850 VN704 VU548 WF876 WS882 YE887 YT175 ZA710 ZM894 ZW716`
