package told

// Vocabulary is the words that the reader knows, by what they are.
var Vocabulary = map[string][]string{"bizstep": bizSteps, "disposition": dispositions, "biztransaction-type": paperTypes, "sourcedest-type": endTypes, "error-reason": reasons}
