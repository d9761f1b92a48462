// Package recall runs a recall or a mock recall: from the suspect to the signed report.
//
// A recall is a list of steps that somebody took (journal entries that change no
// record), and its state is what they add up to. What is affected, who has it and
// whether it adds up is never stored: it is asked of the records each time, except for
// the numbered versions of the scope, which are frozen with the journal's length at
// that moment.
//
// It finds and counts; whether to recall, in which class, and who must be told by when is
// for the responsible person to decide under the law where the beer was made and sold.
// The package knows nothing of how its answers are shown.
package recall
