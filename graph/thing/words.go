package thing

import (
	"cmp"
	"strings"
	"time"

	"heeltap/lots"
	"heeltap/lots/store"
)

// name is what people call an item, party or product; else its code.
func (w *writer) name(code string) string {
	if rows, err := w.tx.RowsOf(code); err == nil && len(rows) > 0 {
		return cmp.Or(rows[0].Row["name"], code)
	}
	return code
}

// called is a name with its code.
func (w *writer) called(code string) string {
	if name := w.name(code); name != code {
		return name + " (" + code + ")"
	}
	return code
}

func (w *writer) lotName(code string) string {
	if x, ok := w.tx.Receipt(code); ok {
		return w.name(x.Item)
	}
	for _, rec := range w.tx.Touching(code) {
		if x, ok := rec.(*lots.Crop); ok && x.Lot == code {
			return w.name(x.Item)
		}
	}
	return ""
}

func (w *writer) unitName(code string) string {
	for _, rec := range w.tx.Touching(code) {
		if x, ok := rec.(*lots.Packed); ok && x.Unit == code {
			if run, ok := w.tx.Run(x.Run); ok {
				return w.name(run.Product)
			}
		}
	}
	return ""
}

// ofLot writes an amount of a lot in its own unit.
func (w *writer) ofLot(code string, base float64) string {
	thing, _ := w.tx.Thing(code)
	return w.inUnit(base, thing.Unit)
}

func (w *writer) inUnit(base float64, unit lots.Unit) string {
	text := lots.FigureOf(unit.Of(base), string(unit))
	if unit.Dim() == lots.Pieces {
		return text + " pieces"
	}
	return text + " " + string(unit)
}

// volume writes millilitres in the site's unit.
func (w *writer) volume(ml float64) string { return w.inUnit(ml, w.site.VolumeUnit) }

// when writes when something happened; of a bare date, that day.
func (w *writer) when(x lots.When) string {
	if !x.Certain() {
		return time.Unix(x.From, 0).In(w.site.Zone).Format("2 Jan 2006") + ", time not given"
	}
	return w.moment(x.From)
}

func (w *writer) moment(unix int64) string {
	return time.Unix(unix, 0).In(w.site.Zone).Format("2 Jan 2006 15:04")
}

func either(r lots.Ref) string { return strings.Join(r.Codes, " or ") }

func counted(n int64, one string) string {
	return lots.Figure(float64(n)) + " " + one + plural(float64(n))
}

func plural(n float64) string {
	if n == 1 {
		return ""
	}
	return "s"
}

// NameOf is what people call an item, party or product; else its code.
func NameOf(tx *store.Tx, code string) string { return (&writer{tx: tx}).name(code) }
