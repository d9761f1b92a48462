// Package told reads what other parties say happened to goods, in documents of EPCIS 2.0 (JSON-LD): deliveries that are on
// their way, and whom consignees supplied. What they say is kept beside the records and never changes them.
package told
