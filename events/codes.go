package events

import (
	"encoding/base64"
	"encoding/hex"
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"
)

// IsCode reports whether s follows the grammar of farm, block, tree, station, source and device codes: small letters,
// digits and inner hyphens, up to 32 characters.
func IsCode(s string) bool {
	if s == "" || len(s) > 32 || s[0] == '-' || s[len(s)-1] == '-' {
		return false
	}
	for i := range len(s) {
		if c := s[i]; (c < 'a' || c > 'z') && (c < '0' || c > '9') && c != '-' {
			return false
		}
	}
	return true
}

// NearestCode makes of a name the code that somebody would write for it, "North Block" to "north-block", "Peña" to "pena". It is
// offered, never taken: two names may lead to one code.
func NearestCode(s string) string {
	var b strings.Builder
	// Taken apart, a letter stands before its accents.
	for _, r := range norm.NFD.String(strings.ToLower(strings.TrimSpace(s))) {
		switch {
		case unicode.Is(unicode.Mn, r):
		case r >= 'a' && r <= 'z' || r >= '0' && r <= '9':
			b.WriteRune(r)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
	}
	code := b.String()
	if len(code) > 32 {
		code = code[:32]
	}
	return strings.Trim(code, "-")
}

// IsLot reports whether s can be a lot or load code: up to 20 characters that AI (10) of GS1 takes (set 82: letters,
// digits and !"%&'()*+,-./_:;<=>? of GS1 General Specifications figure 7.11-1; from memory).
func IsLot(s string) bool {
	if s == "" || len(s) > 20 {
		return false
	}
	for i := range len(s) {
		c := s[i]
		if c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' {
			continue
		}
		if !strings.ContainsRune(`!"%&'()*+,-./_:;<=>?`, rune(c)) {
			return false
		}
	}
	return true
}

// isSource reports whether s is where a record came from, as the envelope says it: /farms/FARM/DEVICE, both codes; the
// device of a station that speaks MQTT is mqtt- and the station's code.
func isSource(s string) bool {
	rest, ok := strings.CutPrefix(s, "/farms/")
	farm, device, found := strings.Cut(rest, "/")
	return ok && found && IsCode(farm) && IsCode(strings.TrimPrefix(device, "mqtt-"))
}

// isChain reports whether s can be a chain's name: farm, or a class and a name in which every byte but A-Z a-z 0-9 - . _
// is %XX in capitals.
func isChain(s string) bool {
	if s == FarmChain {
		return true
	}
	class, name, ok := strings.Cut(s, "/")
	if !ok || name == "" || !IsCode(class) {
		return false
	}
	var plain []byte
	for i := 0; i < len(name); i++ {
		if name[i] != '%' {
			plain = append(plain, name[i])
			continue
		}
		if i+2 >= len(name) {
			return false
		}
		b, err := hex.DecodeString(name[i+1 : i+3])
		if err != nil {
			return false
		}
		plain = append(plain, b[0])
		i += 2
	}
	return chainName(string(plain)) == name
}

// chainName escapes a code for a chain's name: every byte but A-Z a-z 0-9 - . _ is %XX in capitals.
func chainName(s string) string {
	const hex = "0123456789ABCDEF"
	var b strings.Builder
	for i := range len(s) {
		c := s[i]
		if c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || c == '-' || c == '.' || c == '_' {
			b.WriteByte(c)
		} else {
			b.WriteByte('%')
			b.WriteByte(hex[c>>4])
			b.WriteByte(hex[c&15])
		}
	}
	return b.String()
}

// isGLN checks a global location number: 13 digits of which the last is the check digit.
func isGLN(s string) bool { return len(s) == 13 && hasCheckDigit(s) }

// isGTIN checks a global trade item number: 8, 12, 13 or 14 digits of which the last is the check digit.
func isGTIN(s string) bool {
	return (len(s) == 8 || len(s) >= 12 && len(s) <= 14) && hasCheckDigit(s)
}

// hasCheckDigit weighs the digits 1, 3, 1, 3, ... from the right, where the check digit stands; the sum is a multiple of ten
// (GS1, "How to calculate a check digit manually").
func hasCheckDigit(s string) bool {
	sum := 0
	for i := range len(s) {
		if s[i] < '0' || s[i] > '9' {
			return false
		}
		weight := 1
		if (len(s)-1-i)%2 == 1 {
			weight = 3
		}
		sum += int(s[i]-'0') * weight
	}
	return sum%10 == 0
}

func base64Text(b [32]byte) string { return base64.StdEncoding.EncodeToString(b[:]) }

func isBase64Hash(s string) bool {
	b, err := base64.StdEncoding.Strict().DecodeString(s)
	return err == nil && len(b) == 32
}
