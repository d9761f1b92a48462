package main

import (
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
)

// table is rows under headings, for people.
type table struct {
	head []string // a heading that begins with # stands over numbers, which are aligned to the right
	rows [][]string
}

func (t *table) add(cells ...string) {
	for i, c := range cells {
		cells[i] = oneLine(c)
	}
	t.rows = append(t.rows, cells)
}

// print writes the table with its columns aligned; nothing where it has no rows.
func (e *env) print(t *table) {
	if len(t.rows) == 0 {
		return
	}
	width := make([]int, len(t.head))
	head := make([]string, len(t.head))
	for i, h := range t.head {
		head[i] = strings.TrimPrefix(h, "#")
		width[i] = utf8.RuneCountInString(head[i])
	}
	for _, row := range t.rows {
		for i, c := range row {
			width[i] = max(width[i], utf8.RuneCountInString(c))
		}
	}
	line := func(cells []string) string {
		var b strings.Builder
		for i, c := range cells {
			pad := strings.Repeat(" ", width[i]-utf8.RuneCountInString(c))
			if strings.HasPrefix(t.head[i], "#") {
				b.WriteString(pad + c + "  ")
			} else {
				b.WriteString(c + pad + "  ")
			}
		}
		return strings.TrimRight(b.String(), " ")
	}
	e.printf("  %s\n", e.strong(line(head)))
	for _, row := range t.rows {
		e.printf("  %s\n", line(row))
	}
}

func whole[T int | int64](n T) string { return strconv.FormatInt(int64(n), 10) }

// counted writes a number of things.
func counted[T int | int64](n T, one string) string {
	if n == 1 {
		return "1 " + one
	}
	return whole(n) + " " + one + "s"
}

func orDash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}

// day is the date part of a time in an answer.
func day(at string) string {
	if len(at) < len(time.DateOnly) {
		return orDash(at)
	}
	return at[:len(time.DateOnly)]
}

// minute is a time in an answer without its seconds and offset.
func minute(at string) string {
	if len(at) < 16 {
		return orDash(at)
	}
	return strings.Replace(at[:16], "T", " ", 1)
}

func orEmpty[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}

// joined puts the texts that are there behind one another.
func joined(between string, texts ...string) string {
	return strings.Join(slices.DeleteFunc(texts, func(t string) bool { return t == "" }), between)
}
