package papers

import (
	"bytes"
	"slices"
	"strings"
)

// TypeOf tells by its first bytes what a file is: JPEG, PNG, WebP, HEIC or PDF; empty for anything else. The bytes
// are those of the WHATWG's MIME Sniffing Standard (section 6) and, for HEIC, of ISO/IEC 23008-12 (annex B).
func TypeOf(data []byte) string {
	switch {
	case bytes.HasPrefix(data, []byte("\xff\xd8\xff")):
		return "image/jpeg"
	case bytes.HasPrefix(data, []byte("\x89PNG\r\n\x1a\n")):
		return "image/png"
	case len(data) >= 14 && string(data[:4]) == "RIFF" && string(data[8:14]) == "WEBPVP":
		return "image/webp"
	case bytes.HasPrefix(data, []byte("%PDF-")):
		return "application/pdf"
	case len(data) >= 12 && string(data[4:8]) == "ftyp" && slices.Contains(heic, string(data[8:12])):
		return "image/heic"
	}
	return ""
}

// heic are the brands that an HEIC picture begins with.
var heic = strings.Fields("heic heix heim heis hevc hevx mif1 msf1")

// Shown reports whether browsers show a type by themselves; another is only saved.
func Shown(mediaType string) bool {
	return slices.Contains([]string{"image/jpeg", "image/png", "image/webp", "application/pdf"}, mediaType)
}

// Ending is the ending of a file's name that fits a type.
func Ending(mediaType string) string {
	return map[string]string{"image/jpeg": ".jpg", "image/png": ".png", "image/webp": ".webp", "image/heic": ".heic", "application/pdf": ".pdf"}[mediaType]
}
