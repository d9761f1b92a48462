package main

// verb is what help says of recording one row of a sheet.
type verb struct{ short, long, example string }

// verbs is by sheet.
var verbs = map[string]verb{
	"site": {"Record the site's name, time zone and units", "", `  heeltap site --name "My Brewery" --time-zone Europe/Dublin --volume-unit hL`},
	"items": {"Record a material", "", `  heeltap item HOP-W --name "whole hops" --kind hop --unit kg
  heeltap item LACTOSE --name lactose --kind sugar --unit kg --allergens milk`},
	"parties":  {"Record a supplier or consignee", "", `  heeltap party D-014 --name "Farrowgate Wholesale" --role consignee --channel distributor --phone 555-0114`},
	"vessels":  {"Record a silo, tank, brink, or what beer passes through", "", `  heeltap vessel FV2 --kind fermenter --capacity "40 hL"`},
	"lines":    {"Record a packaging line or keg washer", "", `  heeltap line CANS --rate-per-min 60 --margin-min 4 --overlap-min 10 --residue yes`},
	"products": {"Record a product", "", `  heeltap product PALE-44 --name Pale --beer Pale --container-ml 440 --per-case 24 --cases-per-pallet 80`},
	"receipts": {"Log a delivery at the dock",
		"Log a delivery. Without a code the next free one is given; without a time it is now, and a time without\na day is today's. A name is as good as a code. What can hardly be so is said at once, while the goods are\nthere; --try says it before anything is recorded. Print the tags with heeltap label.",
		`  heeltap receive --item HOP-W --supplier S-03 --supplier-lot "WH 24/117" --quantity "60 kg"
  heeltap receive L26-0142 --item MALT --supplier S-01 --supplier-lot 8871 --quantity "12000 kg" --into SILO-1 --document DN-5521
  heeltap receive --item "pale malt" --supplier S-01 --supplier-lot 8872 --quantity "1.5 t" --received-at 10:37 \
      --status hold --reason "certificate missing"`},
	"brews": {"Record a turn of the brewhouse", "One row for each vessel a brew is cast into.",
		`  heeltap brew B26-031 --beer Pale --started-at "2026-03-02 06:30" --cast-out-at "2026-03-02 12:40" --into FV2 --volume "20 hL"`},
	"brew_inputs": {"Record what went into a brew", "Use A|B for --from where it was one of several, unknown which.",
		`  heeltap input B26-031 --from SILO-1 --quantity "420 kg" --stage mash
  heeltap input B26-031 --from "L26-0021|L26-0022" --quantity "4 kg" --stage boil`},
	"additions": {"Record an addition to a vessel", "A solid adds no volume in a fermenter, bright or serving tank unless --volume says so.",
		`  heeltap add FV2 --from L26-0142 --quantity "15 kg" --purpose "dry hop"`},
	"transfers": {"Record a transfer between vessels", "",
		`  heeltap transfer --from FV2 --to BT1 --out "19.5 hL" --in 19.2 --started-at "2026-03-16 09:00" --ended-at "2026-03-16 10:10" --via "HOSE-3;CENTRIFUGE"`},
	"circulations": {"Record that the contents of vessels were joined", "", `  heeltap circulate "BT1;BT2" --started-at "2026-03-17 08:00" --ended-at "2026-03-17 09:00"`},
	"crops":        {"Record a yeast crop", "", `  heeltap crop --item YEAST-A --vessel FV2 --quantity "40 L" --into BRINK-1`},
	"cleans": {"Record a cleaning", "A verified cip or manual clean ends a vessel's chain; rinse and purge do not.",
		`  heeltap clean FV2 --method cip --verified yes`},
	"clearances": {"Record that a line was cleared: no cans, ends, labels or carriers were left in it",
		"Record that a line was cleared: no cans, ends, labels or carriers of the run before were left in its\nmagazines, hoppers and rolls. Without it, they are taken as possible in the first packages of the next run.",
		`  heeltap clear CANS`},
	"runs": {"Record a package run", "",
		`  heeltap package --product PALE-44 --line CANS --started-at "2026-03-18 08:00" --ended-at "2026-03-18 12:00" --date-code "BB 2027-03-18" --good 13800 --rejects 210 --clock-offset-min 4`},
	"codes": {"Record that the coder printed something else for a stretch of a run", "Times are true time, not the coder's.",
		`  heeltap code R26-0031 --date-code "BB 2027-03-17" --since "2026-03-18 08:00" --until "2026-03-18 08:30"`},
	"feeds": {"Record what fed a run: a tank, a lot of cans or ends, gas, units being repacked", "",
		`  heeltap feed R26-0031 --from BT1
  heeltap feed R26-0031 --from L26-0090 --until "2026-03-18 09:30" --overlap-min 15`},
	"units": {"Record a pallet, stack or keg filling", "A second row for the same pallet tops it up from another run. A keg's number is joined with its run.",
		`  heeltap pack --kind pallet --run R26-0031 --quantity 80 --first-at "2026-03-18 08:00" --last-at "2026-03-18 08:32"
  heeltap pack K0417 --kind keg --run R26-0032 --quantity 1 --washed-at "2026-03-18 06:10" --washer WASHER`},
	"shipments": {"Record goods leaving", "", `  heeltap ship --unit P26-0817 --quantity 80 --consignee D-014 --document BOL-2201`},
	"returns":   {"Record goods coming back", "Record goods coming back. Each unit goes on hold until somebody has judged it, unless the site's setting returns is\naccept (heeltap set site returns accept). An empty keg (--state empty) is no return of goods.", `  heeltap return --unit K0417/R26-0032 --quantity 1 --consignee D-014 --state empty`},
	"removals": {"Record a sample, taproom use, destruction, dump or loss", "",
		`  heeltap remove P26-0817 --quantity 2 --reason sample
  heeltap remove FV2 --quantity all --reason dumped --witness Ines`},
	"counts": {"Record what somebody counted", "A count changes no lineage.", `  heeltap count P26-0817 --quantity 78 --place "cold store, row 4"`},
	"holds": {"Stop a lot, brew, vessel, run or unit", "What a held thing went into shows as held in every answer. Let it go with heeltap release.",
		`  heeltap hold L26-0142 --reason "supplier called: glass"`},
}
