// Package record keeps the record of a firing: an append-only file of JSON
// lines in which every line names the hash of the line before, with detached
// SSH signatures beside it. This comment is the format, version 1.
//
// Parse, Entry and VerifyBytes are pure. Create, Recover, Sign, VerifyFile and
// VerifyDir do the file handling. What a line means to the arming of a circuit
// is the caller's: Options.Replay judges it.
//
// # File
//
// A record is NAME.jsonl. NAME is the UTC time of its first line as
// YYYYMMDDTHHMMSSZ, then -PRACTICE for a practice record, then the title in
// a to z, 0 to 9 and '-', then -2, -3 and so on when the name is taken.
// Neither name nor time decides the order of records: the chain does.
//
//	record    = first *middle last
//	line      = entry LF                    ; LF is U+000A
//	first     = line                        ; kind "open"
//	middle    = line                        ; any other kind
//	last      = line                        ; kind "close"
//
// Without its last line a record is open: still written, or cut off. Bytes
// after the last LF are a torn line: writing it was cut short, it is no part
// of the record, and a reader says so. A record has at most 256 MiB
// (MaxFile), a line 1 MiB without its LF (MaxLine).
//
// # Entry
//
// An entry is one JSON object in the canonical form of RFC 8785 (UTF-8, members
// sorted, no blanks, ECMAScript numbers), with exactly these members:
//
//	body     object: depends on kind
//	kind     string: [a-z][a-z0-9-]{0,63}
//	mono_us  integer >= 0: microseconds since the session's start, monotonic clock
//	prev     string: 64 lower-case hexadecimal digits, hash of the line before
//	seq      integer: 1 for the first line, then one more each
//	time     string: wall clock, RFC 3339, UTC, always 2006-01-02T15:04:05.000000Z
//
// No number in a record is beyond ±(2^53 - 1): the canonical form would round
// it. Such values are strings. One entry has one line: a reader decodes, encodes
// again, and refuses a line whose bytes are not those.
//
// After a line of kind "recovered" mono_us counts from a new start. The wall
// clock may step back; readers note it.
//
// Three kinds are the record's own, and their bodies have exactly the members
// of the Go types: "open" is Header, "close" is Closing, "recovered" is
// Recovered. The first line of every later version will still be an object
// whose body has the members format and version.
//
// # Chain
//
// The hash of a line is SHA-256 over these bytes, in this order:
//
//	1 byte    0x00 (a leaf, as in RFC 6962 section 2.1)
//	17 bytes  holdline-record-1 in ASCII
//	1 byte    0x0A
//	n bytes   the line, without its LF
//
// With a shell: (printf '\0holdline-record-1\n'; printf %s "$line") | sha256sum
//
// prev of the first line is 64 zeros. The member previous of its body is the
// hash of the last line of the record before in the same folder, or null: so
// the records of a folder are a chain as well, and a missing one shows. Real
// records and practice records have chains of their own.
//
// The other hashes in a Header are plain SHA-256.
//
// # Signatures
//
// A signature is an armoured SSHSIG file (OpenSSH PROTOCOL.sshsig) over all
// bytes of the closed record: namespace holdline-record, hash sha512 (sha256
// is accepted), key type Ed25519, ECDSA or RSA. The first is NAME.jsonl.sig,
// counter-signatures are NAME.jsonl.2.sig to NAME.jsonl.20.sig, made at
// closing or later. ssh-keygen alone can check one:
//
//	ssh-keygen -Y verify -f allowed_signers -I PRINCIPAL -n holdline-record -s NAME.jsonl.sig < NAME.jsonl
//	ssh-keygen -Y check-novalidate -n holdline-record -s NAME.jsonl.sig < NAME.jsonl
//
// and make one, as NAME.jsonl.sig:
//
//	ssh-keygen -Y sign -f KEY -n holdline-record NAME.jsonl
//
// The chain alone shows accidents and clumsy changes; whoever can write the
// file can also compute it anew. What stands against a forger is a signature
// by a key that the forger does not have.
//
// # Writing
//
// A line is on disk (write and sync, for the first line also of the folder)
// before the call that writes it returns. After the first failed write nothing
// more is written. One program at a time writes the real records of a folder,
// one the practice records, by a lock file.
//
// An open record that its writer left is taken up by a line of kind
// "recovered". A torn line's bytes move, as base64, into the body of that line,
// with their length and plain SHA-256 (from 64 KiB on without the bytes); the
// file as found is kept as NAME.jsonl.torn. The record itself is replaced in
// one step, so that at every moment each of its lines is whole or it is seen to
// be torn. A line that is complete but for its LF is torn as well: nobody was
// told that it was written.
//
// # Example
//
// A record of three lines, here without readings:
//
//	{"body":{"basis":"a7a3c8f654761303e495b66f724dbf68d663d725fb129a8774294b9ea3970a8e","box":{"identity":"","serial":""},"curves":{},"format":"holdline-record","mode":"typed","nonce":"000102030405060708090a0b0c0d0e0f","practice":false,"previous":null,"program":"holdline 0.1.0","seed":"1","sheet_sha256":"78af7bdb5626eb0a046772b3edda705ca9e60ba7af0960eea89f7fa201d685a8","title":"Sled","version":1,"wait_scale":1},"kind":"open","mono_us":0,"prev":"0000000000000000000000000000000000000000000000000000000000000000","seq":1,"time":"2026-05-09T13:04:05.123456Z"}
//	{"body":{"step":"wind","value":"2.5 m/s"},"kind":"answer","mono_us":1000000,"prev":"99bc1affca3723eb7fe7b61fe9cf30408c77639523c065b1df5f210b31077ec5","seq":2,"time":"2026-05-09T13:04:06.123456Z"}
//	{"body":{"outcome":"normal","reason":""},"kind":"close","mono_us":2000000,"prev":"7fa59b7aaf246d26eb0df66a3e15e2d1c567053dcf36a35083ba00cedceaceb9","seq":3,"time":"2026-05-09T13:04:07.123456Z"}
//
// Its signature by the throw-away key whose 32 secret bytes are all 0x01,
// which belongs in no real allowed_signers file:
//
//	-----BEGIN SSH SIGNATURE-----
//	U1NIU0lHAAAAAQAAADMAAAALc3NoLWVkMjU1MTkAAAAgiojj3XQJ8ZX9UtstPLpd
//	cspnCb8dlBIb83SIAbQPb1wAAAAPaG9sZGxpbmUtcmVjb3JkAAAAAAAAAAZzaGE1
//	MTIAAABTAAAAC3NzaC1lZDI1NTE5AAAAQH0OtRQJNIc2P90wtp77XjbZOw+XlZyi
//	rDvzLsdju1fY1wH/33TKuWcIOcZI3+isxOySvcqbYR9gjG9WKLwMdgc=
//	-----END SSH SIGNATURE-----
package record
