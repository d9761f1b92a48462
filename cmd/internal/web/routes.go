package web

import (
	"slices"

	"heeltap/cmd/internal/people"
)

// route is one address, who may ask it, and what answers.
type route struct {
	Method, Pattern string
	// Right is what the person must be allowed to. Open routes need nobody signed in.
	Right people.Right
	Open  bool
	// Large is set where a file may be sent along.
	Large bool
	do    func(*Server, *visit) error
}

// Route is one address as a test or a guide lists it.
type Route = route

// Routes lists every address that the server answers.
func Routes() []Route {
	return slices.Concat(doorRoutes, lookRoutes, recordRoutes, lineRoutes, cellarRoutes, actRoutes, brewRoutes, correctRoutes, blankRoutes, typedRoutes, releaseRoutes,
		dockRoutes, tagRoutes, attachRoutes, personRoutes, meRoutes, tabletRoutes,
		shippingRoutes, returnRoutes, countRoutes, stockRoutes, inquiryRoutes, traceRoutes,
		troubleRoutes, recallRoutes, provideRoutes)
}
