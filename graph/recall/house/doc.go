// Package house lists what is in scope and still in the house, for a hold to stop and somebody to find.
package house
