// Package printed finds the shortest rules by which the public can tell an affected package by what is printed on it.
package printed
