package recorded

import "strconv"

// powers of ten that a float64 holds exactly; so does every integer of up to 15 digits, and their quotient is then
// the nearest float64 (Clinger 1990, the fast path of every decimal parser).
var powers = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15}

const exactDigits = 15

// number reads a decimal number. Words that ParseFloat knows (nan, inf, hexadecimal, underscores) are no numbers here.
func number(b []byte) (float64, bool) {
	i, negative := 0, false
	if len(b) > 0 && (b[0] == '-' || b[0] == '+') {
		negative, i = b[0] == '-', 1
	}
	var mantissa int64
	count, fraction, point := 0, 0, false
	for ; i < len(b); i++ {
		switch c := b[i]; {
		case c >= '0' && c <= '9':
			if count++; count > exactDigits {
				return slowNumber(b)
			}
			mantissa = mantissa*10 + int64(c-'0')
			if point {
				fraction++
			}
		case c == '.' && !point:
			point = true
		default:
			return slowNumber(b)
		}
	}
	if count == 0 {
		return 0, false
	}
	v := float64(mantissa) / powers[fraction]
	if negative {
		v = -v
	}
	return v, true
}

func slowNumber(b []byte) (float64, bool) {
	for _, c := range b {
		switch {
		case c >= '0' && c <= '9', c == '.', c == '-', c == '+', c == 'e', c == 'E':
		default:
			return 0, false
		}
	}
	v, err := strconv.ParseFloat(string(b), 64)
	return v, err == nil
}
