// Package people knows who may sign in to the pages, and what each of them may do.
//
// Passwords, sessions and one-time links live in a file of their own beside the
// database (PathFor): the journal is never changed, is exported and is handed to
// auditors, and a secret must be able to end. The file keeps hashes only:
// passwords and PINs by argon2id, every token by SHA-256. The journal names
// people by their names, so a name that somebody ever had stays theirs.
//
// # Signing in
//
// Every sign-in makes a new token; one that was there before is never taken
// over. An unknown login is answered in the same words, and after the same work, as a
// wrong password. Wrong tries cost waiting time (throttle.go), which a stranger
// cannot spend on behalf of somebody who signs in from where they usually do.
//
// # PINs
//
// On a tablet that several people share, a short PIN changes who is signed in. It works only
// on tablets that somebody with the right to do so registered, and such a session may do less (roles.go).
//
// Pages and HTTP are somebody else's: this package must not know them.
package people
