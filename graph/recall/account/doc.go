// Package account accounts for every case and keg in scope, for what each consignee received, and for the suspect lots.
package account
