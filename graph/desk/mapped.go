package desk

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"heeltap/lots"
	"heeltap/lots/files"
	"heeltap/lots/mapping"
	"heeltap/lots/sheet"
	"heeltap/lots/store"
)

// Mapped is what files of somebody's own headings say by a map.
type Mapped struct {
	mapping.Understood
	Map     *mapping.Map
	New     bool   // the map was proposed just now: nobody has looked through it
	LeftOut string // file that lists the lines that no row came of; empty where there are none
}

// Understand reads files by a map's file, which it proposes where there is none, and adds to it what it asks: meanings of headings,
// order of days, codes for names that are nearly known, texts that a spreadsheet has probably changed. Nothing is recorded.
func Understand(ctx context.Context, db *store.DB, mapPath string, paths []string) (*Mapped, error) {
	m, err := mapping.Load(mapPath)
	if err != nil {
		return nil, err
	}
	out := &Mapped{Map: m, New: len(m.Rules) == 0}
	before := slices.Clone(m.Rules)
	err = db.View(ctx, func(tx *store.Tx) error {
		for _, path := range paths {
			tables, err := sheet.ReadTables(path)
			if err != nil {
				return err
			}
			u := m.Read(tables, sheet.Options{Decimal: tx.Decimal()})
			if len(paths) > 1 {
				u.Within(filepath.Base(path))
			}
			out.add(u)
		}
		if err := out.names(tx); err != nil {
			return err
		}
		return out.number(tx)
	})
	if err != nil {
		return nil, err
	}
	if !slices.Equal(before, m.Rules) {
		if err := m.Save(mapPath); err != nil {
			return nil, err
		}
	}
	return out, out.writeLeft(mapPath)
}

func (m *Mapped) add(u mapping.Understood) {
	m.Rows, m.Refused = append(m.Rows, u.Rows...), append(m.Refused, u.Refused...)
	m.Faults, m.Warnings = append(m.Faults, u.Faults...), append(m.Warnings, u.Warnings...)
	m.Left, m.Pages = append(m.Left, u.Left...), append(m.Pages, u.Pages...)
}

// names puts codes where names are all but the code, and asks for those that are only near one. What the files themselves introduce is known.
func (m *Mapped) names(tx *store.Tx) error {
	own := map[string]bool{}
	for _, r := range m.Rows {
		if code := r.Row[r.Sheet.Code]; code != "" {
			own[code] = true
		}
	}
	for _, r := range m.Rows {
		for _, c := range r.Sheet.Columns {
			text := r.Row[c.Name]
			if text == "" || own[text] || c.Type != lots.RefTo && c.Type != lots.AnyOf {
				continue
			}
			if said, known := m.Map.Called(text, c.Name); known && said.Open() && nowKnown(tx, c, text) {
				m.Map.Forget(*said) // recorded since it was asked
			} else if known {
				continue
			}
			code, err := codeMeant(tx, c, text)
			kind := lots.KindOf(err)
			switch {
			case err == nil && code != "":
				r.Row[c.Name] = code
			case err == nil:
				if _, known := tx.Thing(text); !known {
					m.Map.Ask(text, c.Name, "")
				}
			case kind == lots.NotFound || kind == lots.Conflict:
				m.Map.Ask(text, c.Name, likeliest(tx, c, text))
			default:
				return err
			}
		}
	}
	return tx.Err()
}

// nowKnown reports whether a name that was asked about means something by itself.
func nowKnown(tx *store.Tx, c lots.Column, text string) bool {
	thing, known := tx.Thing(text)
	code, err := codeMeant(tx, c, text)
	return err == nil && (code != "" || known && slices.Contains(c.Kinds, thing.Kind))
}

// likeliest is the code of the thing that a text most nearly names; empty where none is near.
func likeliest(tx *store.Tx, c lots.Column, text string) string {
	all := thingsNamed(tx, c.Kinds)
	near := slices.DeleteFunc(slices.Clone(all), func(n name) bool { return !partOf(wordsOf(text), wordsOf(n.name)) })
	if near = fitting(c.Name, append(near, nearest(text, all)...)); len(near) > 0 {
		return near[0].code
	}
	if codes := tx.Nearest(text, c.Kinds...); len(codes) > 0 {
		return codes[0]
	}
	return ""
}

// number gives rows without a code of ours the next free ones, in the order of the files.
func (m *Mapped) number(tx *store.Tx) error {
	last := map[string]int{}
	for _, r := range m.Rows {
		if r.Sheet.Code == "" || r.Row[r.Sheet.Code] != "" {
			continue
		}
		err := propose(tx, r.Sheet, r.Row)
		if lots.KindOf(err) == lots.Invalid {
			m.Faults = append(m.Faults, lots.Fault{File: r.File, Line: r.Line, Column: r.Sheet.Code, Reason: err.Error()})
			continue
		}
		if err != nil {
			return err
		}
		prefix, digits, _ := strings.Cut(r.Row[r.Sheet.Code], "-")
		n, err := strconv.Atoi(digits)
		if err != nil {
			continue // a code of another make, or none
		}
		if n = max(n, last[prefix]+1); n > 9999 {
			return lots.Errorf(lots.Conflict, "there is no free number after %s-9999: give codes", prefix)
		}
		last[prefix] = n
		r.Row[r.Sheet.Code] = fmt.Sprintf("%s-%04d", prefix, n)
	}
	return tx.Err()
}

// writeLeft lists beside the map the lines that no row came of.
func (m *Mapped) writeLeft(mapPath string) error {
	if len(m.Left) == 0 {
		return nil
	}
	path := strings.TrimSuffix(mapPath, filepath.Ext(mapPath)) + "-left-out.csv"
	var b bytes.Buffer
	out := csv.NewWriter(&b)
	lines := [][]string{{"page", "line", "reason", "cells"}}
	for _, l := range m.Left {
		lines = append(lines, append([]string{l.Page, strconv.Itoa(l.Line), l.Reason}, l.Cells...))
	}
	if err := out.WriteAll(lines); err != nil {
		return err
	}
	m.LeftOut = path
	return files.WriteWhole(path, b.Bytes())
}
