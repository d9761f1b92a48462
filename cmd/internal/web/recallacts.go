package web

import (
	"cmp"
	"fmt"
	"strconv"
	"strings"

	"heeltap/cmd/internal/people"
	"heeltap/graph/recall"
	"heeltap/graph/recall/mailing"
	"heeltap/graph/recall/papers"
	"heeltap/graph/recall/scope"
	"heeltap/lots"
	"heeltap/lots/store"
)

// recallAct is one act in a recall: how its form looks, and the step that it takes.
type recallAct struct {
	heading, button, lead string
	rehearse              string // the button in an exercise, where it says something else
	right                 people.Right
	back                  string // the page of the recall that it comes back to
	fields                func(tx *store.Tx, now *recall.Recall, get func(string) string) ([]field, error)
	// ahead is done on a snapshot, before the change, so that nobody waits for it.
	ahead func(s *Server, v *visit, code string) (any, error)
	take  func(a *taking) (*recall.Recall, error)
}

// taking is an act being taken.
type taking struct {
	tx    *store.Tx
	now   *recall.Recall
	by    string
	get   func(string) string
	ahead any
	at    recall.At
	also  []string // what is said besides the step
}

func (a *taking) step(s recall.Step) (*recall.Recall, error) { return a.now.Take(a.tx, s, a.at, a.by) }

func text(name, label string, get func(string) string) field {
	return field{Name: name, Label: label, Value: get(name), Kind: "text"}
}

func need(f field) field { f.Need = true; return f }

func long(f field) field { f.Kind = "long"; return f }

func tick(name, label string, get func(string) string) field {
	return field{Name: name, Label: label, Value: get(name), Kind: "tick", Need: true}
}

func number(name, label string, get func(string) string) field {
	return field{Name: name, Label: label, Value: get(name), Kind: "number"}
}

func choice(name, label string, get func(string) string, values ...string) field {
	return field{Name: name, Label: label, Kind: "choice", Need: true, Options: options(cmp.Or(get(name), values[0]), true, values...)}
}

func why(get func(string) string) field { return need(long(text("reason", "Because", get))) }

func whenDone(get func(string) string) field {
	return field{Name: "at", Label: "When", Value: get("at"), Kind: "time", Now: true}
}

// simple are fields that need nothing but what was typed.
func simple(make func(get func(string) string) []field) func(*store.Tx, *recall.Recall, func(string) string) ([]field, error) {
	return func(_ *store.Tx, _ *recall.Recall, get func(string) string) ([]field, error) { return make(get), nil }
}

var codesWhy = simple(func(get func(string) string) []field {
	return []field{need(long(text("codes", "What, one a line", get))), why(get)}
})

func decided(choice string) func(*taking) (*recall.Recall, error) {
	return func(a *taking) (*recall.Recall, error) {
		return a.step(&recall.Decided{Choice: choice, Codes: namesIn(a.get("codes")), Reason: a.get("reason")})
	}
}

// party is the field of whom an act is about.
func party(now *recall.Recall, tx *store.Tx, get func(string) string) (field, error) {
	f := need(field{Name: "party", Label: "Consignee", Value: papers.PartyRead(now, get("party")), Kind: "code", Help: "Scan its form, or write its code."})
	if f.Value != "" {
		if p, ok := tx.Party(f.Value); ok {
			f.Help = p.Name
		}
	}
	return f, tx.Err()
}

// quantity reads a number of cases or kegs as somebody typed it; nothing is none.
func quantity(tx *store.Tx, a func(string) string, name string) (float64, error) {
	if a(name) == "" {
		return 0, nil
	}
	n, err := strconv.ParseFloat(strings.ReplaceAll(strings.ReplaceAll(a(name), " ", ""), string(tx.Decimal()), "."), 64)
	if err != nil {
		return 0, lots.Faults{{Column: name, Reason: fmt.Sprintf("%q is not a number", a(name))}}
	}
	return n, nil
}

var recallActs = map[string]*recallAct{}

func init() { // the table names functions that read it
	for name, a := range map[string]*recallAct{
		"note": {heading: "Add a note", button: "Note it", fields: simple(func(get func(string) string) []field {
			return []field{need(long(text("text", "What happened", get))), whenDone(get)}
		}),
			take: func(a *taking) (*recall.Recall, error) { return a.step(&recall.Noted{Text: a.get("text")}) }},
		"suspect": {heading: "Suspect something more", button: "Suspect it", back: "scope", lead: "A lot, a supplier's lot, a brew, a run, a date code, or a vessel or line at a time.", fields: codesWhy,
			take: func(a *taking) (*recall.Recall, error) {
				return a.step(&recall.Suspected{Suspects: namesIn(a.get("codes")), Reason: a.get("reason")})
			}},
		"unsuspect": {heading: "Take a suspect off", button: "Take it off", back: "scope", lead: "One whose row was voided, or that was cleared; or a fill that is proposed because suspect yeast came from it.", fields: codesWhy,
			take: func(a *taking) (*recall.Recall, error) {
				return a.step(&recall.Unsuspected{Suspects: namesIn(a.get("codes")), Reason: a.get("reason")})
			}},
		"hazard": {heading: "Judge the hazard anew", button: "Change the hazard", back: "scope", lead: "What is wrong decides which links count, and so what is affected.",
			fields: func(_ *store.Tx, now *recall.Recall, get func(string) string) ([]field, error) {
				f := field{Name: "hazard", Label: "Hazard", Kind: "choice", Need: true}
				for _, h := range hazardChoices(cmp.Or(get("hazard"), string(now.Hazard))) {
					f.Options = append(f.Options, option(h))
				}
				return []field{f, why(get)}, nil
			},
			take: func(a *taking) (*recall.Recall, error) {
				return a.step(&recall.Judged{Hazard: a.get("hazard"), Reason: a.get("reason")})
			}},
		"include":  {heading: "Take something into the scope", button: "Take it in", back: "scope", lead: "It is in whatever the records say, and so is what it went into.", fields: codesWhy, take: decided(scope.Include)},
		"exclude":  {heading: "Leave something out of the scope", button: "Leave it out", back: "scope", lead: "The trace stops at it: nothing comes to it or from it.", fields: codesWhy, take: decided(scope.Exclude)},
		"undecide": {heading: "Undo a decision", button: "Let the records decide", back: "scope", lead: "The records decide again.", fields: codesWhy, take: decided(scope.Records)},
		"sign-off": {heading: "Sign off what a correction took out", button: "Sign it off", back: "scope", right: people.Sign, lead: "Until somebody signs for it, it stays in scope.", fields: codesWhy,
			take: func(a *taking) (*recall.Recall, error) {
				return a.step(&recall.SignedOff{Codes: namesIn(a.get("codes")), Reason: a.get("reason")})
			}},
		"freeze": {heading: "Freeze the scope", button: "Freeze it", back: "scope", lead: "It becomes the next version, with what changed and which entries changed it. What is told rests on it.",
			fields: simple(func(get func(string) string) []field { return []field{text("reason", "Why now", get)} }),
			ahead:  func(s *Server, v *visit, code string) (any, error) { return recall.Changes(v.ctx, s.DB, code) },
			take: func(a *taking) (*recall.Recall, error) {
				after, err := recall.FreezeWith(a.tx, a.now.Code, a.ahead.([]scope.Change), a.get("reason"), a.by)
				if err == nil {
					if parties := after.NewParties(after.Latest().Items); len(parties) > 0 {
						a.also = append(a.also, "To tell: "+strings.Join(parties, ", ")+".")
					}
				}
				return after, err
			}},
		"hold": {heading: "Hold all that is in the house", button: "Hold all of it", rehearse: "Rehearse the hold", back: "house", lead: "Everything in scope that is in the house and not held for this recall yet, in one step.",
			take: func(a *taking) (*recall.Recall, error) {
				after, _, err := a.now.HoldAll(a.tx, a.by)
				return after, err
			}},
		"release": {heading: "Let go of what is held", button: "Let it go", rehearse: "Rehearse the release", back: "house", right: people.Release, lead: "It ends the recall's own holds; other holds stay.", fields: codesWhy,
			take: func(a *taking) (*recall.Recall, error) {
				codes := namesIn(a.get("codes"))
				after, err := a.now.LetGo(a.tx, codes, a.get("reason"), a.by)
				if err == nil && !a.now.Mock {
					still, err := a.now.StillStopped(a.tx, codes)
					if a.also = still; err != nil {
						return nil, err
					}
				}
				return after, err
			}},
		"destroy": {heading: "Destroyed", button: "Record the destruction", rehearse: "Rehearse the destruction", back: "house",
			fields: simple(func(get func(string) string) []field {
				return []field{need(text("unit", "Pallet or keg", get)), number("quantity", "How many; empty: all that is here", get), need(text("method", "How", get)), need(text("witness", "Who saw it", get)),
					tick("surplus", "So many were destroyed although the books have fewer", get)}
			}),
			take: func(a *taking) (*recall.Recall, error) {
				n, err := quantity(a.tx, a.get, "quantity")
				if err != nil {
					return nil, err
				}
				codes := namesIn(a.get("unit"))
				return a.now.Destroy(a.tx, recall.Destroyed{Unit: strings.Join(codes, ""), Quantity: n, Method: a.get("method"), Witness: a.get("witness"), Surplus: a.get("surplus") != ""}, a.at, a.by)
			}},
		"told":      toldAct,
		"answer":    answerAct,
		"passed-on": passedOnAct,
		"checked":   checkedAct,
		"sample": {heading: "Draw whom to check", button: "Draw them", back: "consignees#checks", lead: "By the levels of 21 CFR 7.42(b)(3): A all, B a part, C one in ten, D one in fifty, E none. The same seed draws the same.",
			fields: simple(func(get func(string) string) []field {
				return []field{choice("level", "Level", get, "A", "B", "C", "D", "E"), number("percent", "Percent, at level B", get), text("seed", "Seed; empty: the recall's code", get)}
			}),
			take: func(a *taking) (*recall.Recall, error) {
				n, err := quantity(a.tx, a.get, "percent")
				if err != nil {
					return nil, err
				}
				return a.step(&recall.Sampled{Level: a.get("level"), Percent: n, Seed: a.get("seed")})
			}},
		"class": {heading: "Propose or note a class", button: "Note the class", lead: "The class that you propose or, with an authority, the class that it assigned (21 CFR 7.3(m)).",
			fields: simple(func(get func(string) string) []field {
				return []field{choice("class", "Class", get, "I", "II", "III"), text("authority", "Assigned by; empty: it is your proposal", get), text("reason", "On what grounds", get)}
			}),
			take: func(a *taking) (*recall.Recall, error) {
				return a.step(&recall.Classed{Class: a.get("class"), Authority: a.get("authority"), Reason: a.get("reason")})
			}},
		"strategy": {heading: "Say how it is carried out", button: "Note the strategy",
			fields: simple(func(get func(string) string) []field {
				return []field{choice("depth", "How far down", get, "", "consumer", "retail", "wholesale"), long(text("instructions", "What they should do with the goods", get)), text("contact", "Whom they call, with number", get), text("completion", "When it should be finished", get)}
			}),
			take: func(a *taking) (*recall.Recall, error) {
				return a.step(&recall.Strategy{Depth: a.get("depth"), Instructions: a.get("instructions"), Contact: a.get("contact"), Completion: a.get("completion")})
			}},
		"authority": {heading: "Spoke with an authority", button: "Note it",
			fields: simple(func(get func(string) string) []field {
				return []field{need(text("authority", "Which", get)), tick("asked", "It asked for records: its 24 hours start now (21 CFR 1.361)", get), long(text("text", "What was said", get)), whenDone(get)}
			}),
			take: func(a *taking) (*recall.Recall, error) {
				return a.step(&recall.Spoke{Authority: a.get("authority"), Asked: a.get("asked") != "", Text: a.get("text")})
			}},
		"letters": {heading: "Draft the letters", button: "Draft them", back: "papers", lead: "A letter for each consignee, a notice to each supplier, and the press text. They are drafts for the responsible person; nothing is sent.",
			ahead: func(s *Server, v *visit, code string) (made any, err error) {
				err = s.view(v, func(tx *store.Tx) error {
					now, err := recall.Load(tx, code)
					if err == nil {
						made, err = mailing.Draft(tx, now, false)
					}
					return err
				})
				return made, err
			},
			take: func(a *taking) (*recall.Recall, error) {
				made := a.ahead.(*mailing.Drafts)
				after, err := mailing.Order{Recall: a.now.Code, By: a.by}.Log(a.tx, made)
				if err != nil {
					return nil, err
				}
				a.also = made.Remarks()
				return after[len(after)-1], nil
			}},
		"strike": {heading: "Strike the account", button: "Put it on the timeline", back: "account",
			take: func(a *taking) (*recall.Recall, error) {
				struck, err := a.now.Account(a.tx)
				if err != nil {
					return nil, err
				}
				return a.step(recall.Struck(struck.Account))
			}},
		"sign": {heading: "Sign", button: "Put my name to it", back: "papers", right: people.Sign, lead: "Your name stands under it on the timeline. The same paper can be written again from the same entries at any time.",
			fields: simple(func(get func(string) string) []field {
				return []field{choice("what", "What", get, recall.SignReport, recall.SignScope), need(text("as", "As what", get))}
			}),
			take: func(a *taking) (*recall.Recall, error) {
				return a.step(&recall.Signed{What: a.get("what"), As: a.get("as")})
			}},
		"close": {heading: "Close it", button: "Close it", lead: "What is still open stays listed, and the review has to answer it.",
			fields: simple(func(get func(string) string) []field {
				return []field{need(long(text("review", "What happened, why, and what will be different", get)))}
			}),
			take: func(a *taking) (*recall.Recall, error) { return a.step(&recall.Closed{Review: a.get("review")}) }},
		"reopen": {heading: "Reopen it", button: "Reopen it", fields: simple(func(get func(string) string) []field { return []field{why(get)} }),
			take: func(a *taking) (*recall.Recall, error) { return a.step(&recall.Reopened{Reason: a.get("reason")}) }},
		"terminate": {heading: "An authority ended it", button: "Note it", fields: simple(func(get func(string) string) []field {
			return []field{need(text("authority", "Which", get)), long(text("text", "What it said", get))}
		}),
			take: func(a *taking) (*recall.Recall, error) {
				return a.step(&recall.Terminated{Authority: a.get("authority"), Text: a.get("text")})
			}},
	} {
		recallActs[name] = a
	}
}
