package main

import (
	"strings"
	"testing"
)

func TestRoomShots(t *testing.T) {
	h := openHouse(t)
	for _, tab := range []string{"desk", "phone"} {
		b := h.browse(t, tab, "quint")
		for _, p := range []string{"", "/scope", "/house", "/consignees", "/consignee/D-11", "/account", "/papers", "/do/answer?party=D-11"} {
			b.goTo("/recall/MR26-01" + p)
			b.shot("room" + strings.NewReplacer("/", "-", "?", "-", "=", "-").Replace(p))
		}
		b.goTo("/recalls")
		b.shot("recalls")
		b.goTo("/recalls/new")
		b.shot("recalls-new")
	}
}
