// Package scope works out what a recall affects, by the records and the lead's decisions, and what changed since a version of it was frozen.
package scope
