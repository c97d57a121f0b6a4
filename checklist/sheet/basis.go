package sheet

import (
	"crypto/sha256"
	"encoding/binary"
	"hash"
	"math"

	"holdline/sim"
)

// The domains keep hashes of unlike things apart.
const (
	basisDomain = "holdline basis 1\n"
	curveDomain = "holdline built-in curve 1\n"
)

// Basis is the hash of everything that a prediction rests on: the sheet's
// bytes, every curve, the program's version and the seed. It is the SHA-256 of
//
//	"holdline basis 1\n"
//	len(version) as 8 bytes, version
//	seed as 8 bytes
//	SHA-256 of the sheet's bytes
//	number of curves as 8 bytes
//	for each curve, in the order of first use by a motor:
//	    len(name) as 8 bytes, name as the sheet writes it
//	    SHA-256 of the file's bytes, or of a built-in curve's points
//
// with numbers big-endian. The sheet's own path is not part of it. For a
// built-in curve the hash is the SHA-256 of "holdline built-in curve 1\n" and,
// for each point, time and thrust as IEEE 754 doubles, 8 bytes each.
//
// Load the sheet again to see whether anything on the disk has changed.
func (s *Sheet) Basis(version string, seed uint64) [32]byte {
	h := sha256.New()
	h.Write([]byte(basisDomain))
	writeText(h, version)
	writeNumber(h, seed)
	h.Write(s.SHA256[:])
	writeNumber(h, uint64(len(s.Curves)))
	for _, c := range s.Curves {
		writeText(h, c.Name)
		h.Write(c.SHA256[:])
	}
	return [32]byte(h.Sum(nil))
}

// hashCurve is the hash of a built-in curve's points.
func hashCurve(c *sim.Curve) [32]byte {
	h := sha256.New()
	h.Write([]byte(curveDomain))
	for _, p := range c.Points() {
		writeNumber(h, math.Float64bits(p.TimeS))
		writeNumber(h, math.Float64bits(p.ThrustN))
	}
	return [32]byte(h.Sum(nil))
}

func writeText(h hash.Hash, s string) {
	writeNumber(h, uint64(len(s)))
	h.Write([]byte(s))
}

func writeNumber(h hash.Hash, n uint64) {
	h.Write(binary.BigEndian.AppendUint64(nil, n))
}
