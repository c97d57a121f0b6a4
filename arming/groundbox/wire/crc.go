package wire

// CRC16 computes the CRC-16/CCITT-FALSE of b: polynomial 0x1021, start value
// 0xFFFF, no reflection, no final inversion. The check value of the ASCII
// text "123456789" is 0x29B1.
//
// Source: the catalogue of parametrised CRC algorithms, where this one is
// listed as CRC-16/IBM-3740 with the alias CRC-16/CCITT-FALSE.
func CRC16(b []byte) uint16 {
	crc := uint16(0xFFFF)
	for _, c := range b {
		crc ^= uint16(c) << 8
		for range 8 {
			if crc&0x8000 != 0 {
				crc = crc<<1 ^ 0x1021
			} else {
				crc <<= 1
			}
		}
	}
	return crc
}
