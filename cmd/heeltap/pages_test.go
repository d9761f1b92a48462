package main

import (
	"testing"
)

// Every page that there is is opened at both sizes: none is wider than the screen, and axe finds nothing serious.
func TestPagesLookedAt(t *testing.T) {
	chromium(t)
	h := openHouse(t)
	for tab := range tabs {
		t.Run(tab, func(t *testing.T) {
			h.browse(t, tab, "").walk(map[string]string{"signin": "/signin"})
			h.browse(t, tab, "maren").walk(lookedAt)
		})
	}
}

// lookedAt are pages of every kind, by the name of their pictures.
var lookedAt = map[string]string{
	"home": "/", "lot": "/lot/L25-0085", "vessel": "/vessel/FV2", "brew": "/brew/B25-0130", "run": "/run/R25-0129", "unit": "/unit/P25-0339",
	"shipment": "/shipment/S25-0852", "party": "/party/D-14", "line": "/line/CANS", "find-several": "/find?q=BB+2026-08-03%4013:12", "find-none": "/find?q=L25-8500",
	"cellar": "/cellar", "stock": "/stock", "stock-lots": "/stock/lots", "lines": "/lines", "begin": "/begin/CANS?product=PALE-CAN", "running": "/running/R25-0129",
	"dock": "/dock", "delivery": "/delivery?item=HOP-LATE", "attach": "/attach?code=L25-0085",
	"shipping": "/shipping", "load": "/load?consignee=D-14", "list": "/shipment/S25-0852/list", "return": "/return", "judge": "/judge", "count": "/count", "count-place": "/count?place=keg+cold+store",
	"brew-which": "/brew", "brew-new": "/brew?beer=Skerry+Pale", "vessel-clean": "/vessel/FV2/clean", "vessel-pitch": "/vessel/YB1/pitch", "vessel-transfer": "/vessel/ST1/transfer", "vessel-emptied": "/vessel/ST1/emptied", "vessel-holding": "/vessel/ST1", "vessel-late": "/vessel/ST1/take?late=1",
	"entry": "/entry/100", "amend": "/entry/100/amend", "void": "/entry/100/void", "blank": "/blank", "clean-late": "/do/clean?late=1",
	"office": "/office", "readiness": "/readiness", "balance": "/balance?of=L25-0085", "exposure": "/exposure", "trace": "/trace", "trace-back": "/trace?from=P25-0339&dir=back",
	"common": "/common?bad=R25-0081&bad=R25-0086&bad=R25-0088&good=R25-0044", "inquiries": "/inquiry/noted",
	"typed-count": "/typed/count", "typed-loading": "/typed/loading", "typed-run": "/typed/run", "typed-vessel": "/typed/vessel?vessel=FV2", "release": "/release/P25-0339",
	"receive": "/do/receive", "ship": "/do/ship?unit=P25-0345",
}

func (b *browser) walk(pages map[string]string) {
	for name, path := range pages {
		b.goTo(path)
		b.shot(name)
	}
}
