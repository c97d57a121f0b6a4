package record

// Most bodies are canonical already and made of short numbers and plain
// ASCII. isPlain recognises those without the cost of a full canonicalisation,
// which for a long record is most of the time of a verification. It may say no
// to a canonical text, and never says yes to another one: a test holds it
// against the full canonicaliser.

// plainDepth is how deep a plain value may be nested.
const plainDepth = 32

// isPlain reports whether text is certainly one JSON object in canonical form
// with no number beyond 2^53 - 1.
func isPlain(text []byte) bool {
	end := plainObject(text, 0, plainDepth)
	return end == len(text) && end > 0
}

// The plain functions return the index behind the value that starts at i, or
// -1 when it is not plain.

func plainValue(text []byte, i, depth int) int {
	if i >= len(text) || depth == 0 {
		return -1
	}
	switch c := text[i]; {
	case c == '"':
		return plainString(text, i)
	case c == '{':
		return plainObject(text, i, depth)
	case c == '[':
		return plainArray(text, i, depth)
	case c == 't':
		return plainWord(text, i, "true")
	case c == 'f':
		return plainWord(text, i, "false")
	case c == 'n':
		return plainWord(text, i, "null")
	}
	return plainNumber(text, i)
}

func plainWord(text []byte, i int, word string) int {
	if end := i + len(word); end <= len(text) && string(text[i:end]) == word {
		return end
	}
	return -1
}

// plainString takes ASCII that needs no escape; in any other string the
// canonical form may be a different one.
func plainString(text []byte, i int) int {
	if i >= len(text) || text[i] != '"' {
		return -1
	}
	for i++; i < len(text); i++ {
		switch c := text[i]; {
		case c == '"':
			return i + 1
		case c < 0x20 || c >= 0x7f || c == '\\':
			return -1
		}
	}
	return -1
}

// plainObject wants the names in rising order, which also makes them differ.
// In ASCII the order of bytes is the order of UTF-16 code units.
func plainObject(text []byte, i, depth int) int {
	if i >= len(text) || text[i] != '{' {
		return -1
	}
	i++
	if i < len(text) && text[i] == '}' {
		return i + 1
	}
	for name := []byte(nil); ; i++ {
		end := plainString(text, i)
		if end < 0 || end >= len(text) || text[end] != ':' {
			return -1
		}
		next := text[i+1 : end-1]
		if name != nil && string(name) >= string(next) {
			return -1
		}
		name = next
		if i = plainValue(text, end+1, depth-1); i < 0 || i >= len(text) {
			return -1
		}
		if text[i] == '}' {
			return i + 1
		}
		if text[i] != ',' {
			return -1
		}
	}
}

func plainArray(text []byte, i, depth int) int {
	i++
	if i < len(text) && text[i] == ']' {
		return i + 1
	}
	for ; ; i++ {
		if i = plainValue(text, i, depth-1); i < 0 || i >= len(text) {
			return -1
		}
		if text[i] == ']' {
			return i + 1
		}
		if text[i] != ',' {
			return -1
		}
	}
}

// plainNumber takes digits with at most one point and without needless zeros,
// 15 digits at most and not below 0.00001: a decimal of so many digits comes
// back unchanged from the nearest double, and is written without an exponent.
func plainNumber(text []byte, i int) int {
	start := i
	if i < len(text) && text[i] == '-' {
		i++
	}
	whole := i
	for i < len(text) && text[i] >= '0' && text[i] <= '9' {
		i++
	}
	wholeDigits := i - whole
	if wholeDigits == 0 || wholeDigits > 15 || (text[whole] == '0' && wholeDigits > 1) {
		return -1
	}
	isZero := text[whole] == '0'
	if i >= len(text) || text[i] != '.' {
		if isZero && whole > start {
			return -1 // -0
		}
		return plainNumberEnd(text, i)
	}
	i++
	fraction := i
	for i < len(text) && text[i] >= '0' && text[i] <= '9' {
		i++
	}
	digits := i - fraction
	if digits == 0 || wholeDigits+digits > 15 || text[i-1] == '0' {
		return -1
	}
	if isZero && digits > 4 && string(text[fraction:fraction+4]) == "0000" {
		return -1
	}
	return plainNumberEnd(text, i)
}

func plainNumberEnd(text []byte, i int) int {
	if i < len(text) && (text[i] == 'e' || text[i] == 'E') {
		return -1
	}
	return i
}
