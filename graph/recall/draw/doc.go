// Package draw makes draws that anybody can repeat from a seed: on which lot to rehearse, and which consignees to check.
package draw
