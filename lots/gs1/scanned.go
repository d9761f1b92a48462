package gs1

// WholeScan reports whether a text is a bar code with all its fields as a scanner hands it over: it then begins with the
// symbology identifier of ISO/IEC 15424, such as ]C1 or ]d2, which no printed number does.
func WholeScan(text string) bool {
	return len(text) > 3 && text[0] == ']' && (text[1]|0x20 >= 'a' && text[1]|0x20 <= 'z') && text[2] >= '0' && text[2] <= '9'
}
