package main

// verb is what help says of recording one row of a sheet.
type verb struct{ short, long, example string }

// verbs is by sheet.
var verbs = map[string]verb{
	"site": {"Record the site's name, time zone and units", "", `  heeltap site --name "My Brewery" --time-zone Europe/Dublin --volume-unit hL`},
	"items": {"Record an ingredient or a packaging material", "", `  heeltap item HOP-W --name "whole hops" --kind hop --unit kg
  heeltap item LACTOSE --name lactose --kind sugar --unit kg --allergens milk`},
	"parties":  {"Record a supplier or consignee", "", `  heeltap party D-014 --name "Farrowgate Wholesale" --role consignee --channel distributor --phone 555-0114`},
	"vessels":  {"Record a vessel: a silo, tank or brink, or a hose, centrifuge or filter", "", `  heeltap vessel FV2 --kind fermenter --capacity "40 hL"`},
	"lines":    {"Record a packaging line or keg washer", "", `  heeltap line CANS --rate-per-min 60 --margin-min 4 --overlap-min 10 --residue yes`},
	"products": {"Record a product", "", `  heeltap product PALE-44 --name Pale --beer Pale --container-ml 440 --per-case 24 --cases-per-pallet 80`},
	"receipts": {"Log a delivery at the dock",
		"Log a delivery at the dock. If you give no code, it gets the next free one; if you give no time, it is now, and a\ntime without a date means today. You can give names instead of codes. Anything doubtful is pointed out at once,\nwhile the goods are there; --try points it out before anything is recorded. With --scan the bar code\non the goods fills in what it says, and is kept as it came; what its GTIN is, is known from the first delivery on. Print the\ntags with heeltap label.",
		`  heeltap receive --item HOP-W --supplier S-03 --supplier-lot "WH 24/117" --quantity "60 kg"
  heeltap receive L26-0142 --item MALT --supplier S-01 --supplier-lot 8871 --quantity "12000 kg" --into SILO-1 --document DN-5521
  heeltap receive --item "pale malt" --supplier S-01 --supplier-lot 8872 --quantity "1.5 t" --received-at 10:37 \
      --status hold --reason "certificate missing"
  heeltap receive --scan "(01)09520123456788(10)WH24/117(17)270301(3103)060000" --item HOP-W --supplier S-03`},
	"brews": {"Record a turn of the brewhouse", "Record a turn of the brewhouse. If a brew is split, record one row for each vessel it is cast into.",
		`  heeltap brew B26-031 --beer Pale --started-at "2026-03-02 06:30" --cast-out-at "2026-03-02 12:40" --into FV2 --volume "20 hL"`},
	"brew_inputs": {"Record what went into a brew", "Record what went into a brew. If it was one of several and you do not know which, write --from \"A|B\".",
		`  heeltap input B26-031 --from SILO-1 --quantity "420 kg" --stage mash
  heeltap input B26-031 --from "L26-0021|L26-0022" --quantity "4 kg" --stage boil`},
	"additions": {"Record an addition to a vessel", "Record an addition to a vessel. In a fermenter, bright or serving tank a solid adds no volume unless --volume says so.",
		`  heeltap add FV2 --from L26-0142 --quantity "15 kg" --purpose "dry hop"
  heeltap add FV3 --from R26-0031 --quantity "120 each" --purpose "rejects poured back"`},
	"transfers": {"Record a transfer between vessels", "",
		`  heeltap transfer --from FV2 --to BT1 --out "19.5 hL" --in 19.2 --started-at "2026-03-16 09:00" --ended-at "2026-03-16 10:10" --via "HOSE-3;CENTRIFUGE"`},
	"circulations": {"Record that vessels were circulated together, or perhaps joined", "Record that vessels were circulated together. With --perhaps it only says that they may have been joined, as through a\nvalve that was perhaps open: what any of them held may be in the others, and nothing is moved on the books.",
		`  heeltap circulate BT1 BT2 --started-at "2026-03-17 08:00" --ended-at "2026-03-17 09:00"
  heeltap circulate FV1 FV2 --perhaps --started-at "2026-03-17 18:00" --ended-at "2026-03-18 07:30"`},
	"crops": {"Record a yeast crop", "", `  heeltap crop --item YEAST-A --vessel FV2 --quantity "40 L" --into BRINK-1`},
	"cleans": {"Record a clean", "Record a clean of a vessel or line. A verified cip or manual clean ends a vessel's chain; rinse and purge do not. Name\nthe lot or the tank of the chemical with --from: if it turns out bad, what was filled next is traced from it.",
		`  heeltap clean FV2 --method cip --verified yes --from L26-0118
  heeltap clean CANS --method rinse --from "L26-0118|L26-0119"`},
	"clearances": {"Record that a line was cleared: no cans, ends, labels or carriers were left in it",
		"Record that a line was cleared: no cans, ends, labels or carriers of the run before were left in its\nmagazines, hoppers and rolls. Unless this is recorded, they count as possible in the first packages of the next run.",
		`  heeltap clear CANS`},
	"tippings": {"Record that some of a lot was put back into another lot's pallet, bag or bin",
		"Record that some of a lot, such as leftover cans or ends, was put back into another lot's pallet, bag or bin. What is used of\nthat lot from then on may have it in it; what was used before has not. If the bin is a vessel, use heeltap add instead.",
		`  heeltap tip L26-0077 --into L26-0078 --quantity 4000
  heeltap tip "L26-0076|L26-0077" --into L26-0078 --quantity 4000 --at "2026-03-18 12:20"`},
	"runs": {"Record a packaging run", "",
		`  heeltap package --product PALE-44 --line CANS --started-at "2026-03-18 08:00" --ended-at "2026-03-18 12:00" --date-code "BB 2027-03-18" --good 13800 --rejects 210 --clock-offset-min 4`},
	"codes": {"Record a different date code printed for part of a run", "Record a different date code that the coder printed for part of a run. Give true times, not the coder's.",
		`  heeltap code R26-0031 --date-code "BB 2027-03-17" --since "2026-03-18 08:00" --until "2026-03-18 08:30"`},
	"feeds": {"Record what fed a run: a tank, a lot of cans or ends, gas, units being repacked, or rejects of another run", "",
		`  heeltap feed R26-0031 --from BT1
  heeltap feed R26-0031 --from L26-0090 --until "2026-03-18 09:30" --overlap-min 15`},
	"units": {"Record a pallet, stack or keg filling", "Record a pallet, stack or keg filling. A second row for the same pallet tops it up from another run. For a keg, give its\nnumber: the filling's code is the number and the run.",
		`  heeltap pack --kind pallet --run R26-0031 --quantity 80 --first-at "2026-03-18 08:00" --last-at "2026-03-18 08:32"
  heeltap pack K0417 --kind keg --run R26-0032 --quantity 1 --washed-at "2026-03-18 06:10" --washer WASHER`},
	"shipments": {"Record a shipment, of pallets and kegs or in bulk", "Record a shipment: a pallet, stack or keg, or in bulk beer or yeast from a vessel, some of a lot, or a by-product of a\nbrew such as spent grain. Whoever received it stands in every answer. Name what leaves; the shipment gets the next free\ncode, or name both: heeltap ship S26-0817 --unit P26-0817.",
		`  heeltap ship P26-0817 --quantity 80 --consignee D-014 --document BOL-2201
  heeltap ship BT2 --quantity "20 hL" --consignee D-04 --goods "beer for distilling"
  heeltap ship B26-031 --quantity "400 kg" --goods "spent grain" --consignee D-031`},
	"returns": {"Record goods that came back", "Record goods that came back. Each unit goes on hold until somebody has judged it, unless the site's setting returns is\naccept (heeltap set site returns accept). An empty keg (--state empty) does not count as returned goods.", `  heeltap return --unit K0417/R26-0032 --quantity 1 --consignee D-014 --state empty`},
	"removals": {"Record a sample, taproom use, destruction, dump or loss", "",
		`  heeltap remove P26-0817 --quantity 2 --reason sample
  heeltap remove FV2 --quantity all --reason dumped --witness Ines`},
	"counts": {"Record a stock count", "Record a stock count. It is shown beside the books and changes no lineage.", `  heeltap count P26-0817 --quantity 78 --place "cold store, row 4"`},
	"holds": {"Put a lot, brew, vessel, run or unit on hold", "Put a lot, brew, vessel, run or unit on hold. Everything it went into shows as held in every answer. Lift the hold with\nheeltap release.",
		`  heeltap hold L26-0142 --reason "supplier called: glass"`},
}
