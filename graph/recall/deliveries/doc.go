// Package deliveries lists who received what is in scope and what became of it there, and from whom the suspect lots came.
package deliveries
