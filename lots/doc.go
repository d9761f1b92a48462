// Package lots is the vocabulary of a brewery's batch records: codes, times,
// quantities, and one typed record for every sheet a brewery keeps.
//
// It knows what can be written (which columns a sheet has, which units and times
// are understood, what a code may look like) and turns one row of text into
// one typed record. It must not know how records are stored, what follows
// from them (package lineage) or how they are queried (package graph).
//
// A row is text under column names, exactly as a person wrote it. Decode turns
// it into a record with whole-number quantities (millilitres, milligrams or
// pieces) and instants in Unix seconds. Decoding needs to know what other codes
// mean (is BT-2 a vessel or a lot? which unit does lot M-1 count in?), so it
// takes a Lookup.
package lots
