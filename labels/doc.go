// Package labels turns what is known of one lot, vessel, run, pallet or keg
// into a tag that can be printed and scanned: a QR code of one short line, and
// the same facts in words beside it.
//
// A [Tag] is plain text, ready to print. [PDF] lays tags out on a [Stock]
// (plain A4 or Letter in cells to cut apart, or rolls of labels), [PNG] and
// [SVG] draw one tag. All three draw the same picture, made by one layout, and
// give the same bytes for the same input.
//
// What the QR code holds is made by [Payload] and read back by [ParsePayload]:
// the code itself, or an address at the brewery's own server that ends in it.
//
// The package is pure: it knows neither where tags come from nor who asks for
// them. It must not import the records, the store, the graph or anything that
// speaks HTTP; it reads no clock, no file and no environment.
package labels
