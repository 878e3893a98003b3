// Package store keeps the catalogue on disk: one bbolt file with editions, each
// a whole state of the catalogue.
//
// What lives here: the file and its format, imports, restores and drops (each
// builds a new file beside the old one and renames it over), reading an edition
// ([View]), comparing editions, checking the file, backups.
//
// What must not: file formats of packages and workbooks (package pack), rules
// of the catalogue (package catalog), deciding what fits (package resolve), a
// clock: times are passed in.
//
// # The file
//
// catalog.db is a bbolt file with pages of 16 KiB. A change never touches it: it
// builds catalog.db.new-RANDOM, checks and syncs it, renames it over and syncs
// the folder. The last two commits of the new file are alike, so that each of its
// two head pages leads to everything. Readers keep the file that they opened. Writers exclude each other
// by a lock on catalog.lock for the whole of a change; readers take no part in
// that.
//
// Inside are these buckets, none within another, so that bbolt can keep small
// ones together in a page:
//
//   - "platewright" with one record: format, fold rule, head edition, digest.
//   - "editions": for each edition ever made its manifest, by number. A dropped
//     edition leaves its stub, so that the chain of digests stays whole.
//   - "generations": by name what a generation is. A generation, TABLE.N, is the
//     rows of one table as one edition brought them. Editions share them.
//   - "TABLE.N/rows" (group key to the group's rows), "TABLE.N/words" (texts that
//     repeat and shapes of codes, by column and number), "TABLE.N/order" (every
//     32nd group key) and "TABLE.N/by.COLUMN" (cell key to the groups that hold
//     it).
//
// # Integrity
//
// bbolt does not notice a flipped bit in a data page, and a flipped key in a
// branch page makes a key that is there look absent. Therefore each record
// carries a CRC-32C over the name of its bucket, its key and its payload, and
// each entry of a generation's buckets its own ordinal in the bucket. The last entry is a sentinel
// that carries the count. A look-up that finds nothing proves it: the entry that
// follows and the one before it must be sound, must enclose the key, and their
// ordinals must be neighbours. A walk demands each ordinal. Before a bucket is
// used for the first time its branch pages are read and must form a tree, since
// bbolt would descend a circle until the stack is full.
package store
