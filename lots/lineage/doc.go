// Package lineage derives what touched what from a brewery's records: records
// in, nodes and links out.
//
// It holds the rules of reach and nothing else. It must not know how records
// or links are stored, and asks no questions of the links it makes.
//
// A derivation has two steps. First each vessel's moves are settled into its books
// (books.go, trial.go): which fills it had, and which fill every outflow drew
// on. Then entries, runs, path items, lots, brews and units write their
// nodes and links from the records and those books. What one of them writes is
// its cell; Derive works out again only the cells that a change affects; given all
// records, it derives everything.
package lineage
