// Package store keeps a brewery's journal, records and lineage in one SQLite file.
//
// It is the only room that knows the records by SQL. It knows records and lineage generically
// (a row of a sheet, a cell with nodes and links) and must not know what a trace
// or a recall is.
//
// # Layout
//
// The journal table is the truth: entries appended with a hash over the entry
// and the hash before it; triggers refuse UPDATE and DELETE. The record, mention,
// code and printed tables are the current reading of the journal; the node, link,
// draw, arrival, pass and finding tables are the lineage. All of these are rebuilt from
// the journal at will, and Audit does so in a scratch database and compares.
//
// # Transactions
//
// There are two ways in: Update and View. Update has one connection and one
// recorded time; whatever it records becomes journal entry, records and lineage
// together, or nothing does. View reads one snapshot.
//
// # Traps
//
// Closing any descriptor of the database file drops the process's POSIX locks, so
// nothing here opens or copies the live file. PRAGMAs stand only in the address
// that opens a connection and in the migration, because a pool would apply
// them to one connection only.
package store
