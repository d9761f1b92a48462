package main

import "strings"

// task is one thing that somebody asks, prints or records. In its arguments {name} stands for what it is
// about, {n} for the number of the try, and {out} for a folder to write to.
type task struct {
	group, name string
	args        string // parted by spaces; _ in an argument is a space
	long        bool   // asked of the whole records, and done once
}

// tasks are the questions, papers and entries measured. An entry's times lie after the history's end.
var tasks = []task{
	{"start", "help", "--help", false},
	{"question", "trace forward, lot", "trace forward {hop} --json", false},
	{"question", "trace back, code at a time", "trace back {code}@{time} --json", false},
	{"question", "trace back, pallet", "trace back {pallet} --json", false},
	{"question", "why", "why {hop} {reached}", false},
	{"question", "show, lot", "show {hop}", false},
	{"question", "show, pallet", "show {pallet}", false},
	{"question", "inquire", "inquire {code} --look-only", false},
	{"question", "inquire, misread", "inquire {misread} --look-only", false},
	{"question", "balance, lot", "balance {hop}", false},
	{"question", "balance, run", "balance {run}", false},
	{"question", "allergens", "allergens {run}", false},
	{"question", "common", "common --bad {run} --bad {code} --good {good}", false},
	{"question", "journal about a lot", "journal --about {hop}", false},
	{"question", "recall scope", "recall scope", false},
	{"question", "recall consignees", "recall consignees", false},
	{"question", "recall account", "recall account", false},
	{"question", "recall log", "recall log", false},
	{"whole", "stock tanks", "stock tanks", false},
	{"whole", "stock lots", "stock lots", false},
	{"whole", "stock units", "stock units", true},
	{"whole", "exposure", "exposure", true},
	{"whole", "check", "check", true},
	{"whole", "audit", "audit", true},
	{"paper", "record of a run", "record {run} --out {out}/run{n}.pdf", false},
	{"paper", "record of a pallet", "record {pallet} --out {out}/pallet{n}.pdf", false},
	{"paper", "labels", "label {pallet} {hop} --stock a4 --out {out}/tags{n}.pdf", false},
	{"paper", "recall letters", "recall letters --out {out}/letters{n}", false},
	{"paper", "recall report", "recall report --out {out}/report{n}.pdf", false},
	{"entry", "receive", "receive --item HOP-LATE --supplier S-04 --supplier-lot NEW_{n}/77 --quantity 60_kg --received-at 2026-03-10_09:0{n} --document DN-{n}", false},
	{"entry", "brew", "brew --beer Skerry_Pale --started-at 2026-03-1{n}_06:00 --cast-out-at 2026-03-1{n}_12:00 --into FV1 --volume 20_hL", false},
	{"entry", "input", "input {brew} --from SILO-1 --quantity 1{n}_kg --stage mash --ref again{n}", false},
	{"entry", "pitch", "input {brew} --from YB1 --quantity 1{n}_L --stage pitch --ref again{n}", false},
	{"entry", "add", "add FV1 --from {newest} --quantity 1{n}_kg --at 2026-03-20_10:0{n} --purpose dry_hop", false},
	{"entry", "crop", "crop --item YEAST-ALE --vessel FV1 --quantity 2{n}_L --at 2026-03-20_11:0{n}", false},
	{"entry", "transfer", "transfer --from FV1 --to BT1 --out 5.{n}_hL --in 5_hL --started-at 2026-03-21_0{n}:00 --ended-at 2026-03-21_0{n}:20 --via HOSE-1;CENTRIFUGE", false},
	{"entry", "circulate", "circulate BT2 BT3 --started-at 2026-03-21_1{n}:00 --ended-at 2026-03-21_1{n}:20", false},
	{"entry", "clean", "clean BT4 --method cip --verified yes --at 2026-03-22_0{n}:00", false},
	{"entry", "package", "package RN-{n} --product PALE-CAN --line CANS --started-at 2026-03-2{n}_08:00 --ended-at 2026-03-2{n}_09:00 --date-code BB_2026-12-1{n} --good 2400", false},
	{"entry", "feed, tank", "feed RN-{n} --from BT1", false},
	{"entry", "feed, cans", "feed RN-{n} --from {cans} --quantity 2400_each", false},
	{"entry", "code", "code RN-{n} --date-code BB_2026-12-09 --since 2026-03-2{n}_08:10 --until 2026-03-2{n}_08:20", false},
	{"entry", "pack", "pack --kind pallet --run RN-{n} --quantity 80 --first-at 2026-03-2{n}_08:00 --last-at 2026-03-2{n}_08:32", false},
	{"entry", "clear", "clear CANS --at 2026-03-2{n}_15:00", false},
	{"entry", "ship", "ship --unit {free{n}} --quantity 4 --consignee D-11 --shipped-at 2026-03-25_09:0{n} --document BOL-{n}", false},
	{"entry", "return", "return --unit {free{n}} --quantity 1 --consignee D-11 --returned-at 2026-03-26_09:00", false},
	{"entry", "remove", "remove {free{n}} --quantity 1 --reason sample --at 2026-03-27_09:0{n}", false},
	{"entry", "count", "count {free{n}} --quantity 2 --at 2026-03-28_09:0{n}", false},
	{"entry", "hold", "hold {free{n}} --reason wet_cartons --at 2026-03-28_10:0{n}", false},
	{"entry", "release", "release {free{n}} --reason dry_inside", false},
	{"entry", "amend", "amend {hop} document=DN-NEW-{n} --reason read_again", false},
	{"entry", "amend a brew", "amend {brew} plato=11.{n} --reason read_again", false},
	{"entry", "void", "void RN-CLEAR{n} --reason entered_twice", false},
}

// arguments fills in what a try of a task is about.
func (t task) arguments(about map[string]string) []string {
	var out []string
	for _, word := range strings.Fields(t.args) {
		word = strings.ReplaceAll(word, "_", " ")
		for range 2 { // {free{n}} names one of several
			for name, value := range about {
				word = strings.ReplaceAll(word, "{"+name+"}", value)
			}
		}
		out = append(out, word)
	}
	return out
}
