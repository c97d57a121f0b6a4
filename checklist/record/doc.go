// Package record keeps the signed record of a firing: an append-only file of
// JSON lines, chained by hashes and signed beside it. The full format stands
// here once the file layout has settled.
package record
