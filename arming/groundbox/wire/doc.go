// Package wire is the pure text layer of the ground box's protocol: lines,
// numbers, headers, channel lists, errors and snapshots, with no port, no
// clock and no goroutine. Both ends use it: the link and the practice box.
//
// The text follows open instrument practice: common commands by IEEE 488.2,
// headers in the style of SCPI-1999. No command fires anything.
package wire
