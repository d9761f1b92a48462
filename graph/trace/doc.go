// Package trace answers where something went and what went into something: it
// resolves what a person asks for, walks the lineage, and adds what the records
// say of everything reached.
//
// It reads through package store and knows neither how lineage is derived nor how an answer is shown.
package trace
