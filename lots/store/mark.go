package store

import (
	"encoding/json"
	"errors"
	"io/fs"
	"maps"
	"os"

	"heeltap/lots"
	"heeltap/lots/files"
)

// A mark is how far something has gone that must never be done twice, such as numbers that stand on pallets. It is kept in
// a file beside the database and not in it, so that bringing back an older backup does not set it back. It only ever rises,
// and it is on the disk before the entries that raised it are kept: a program that is killed between the two wastes
// numbers, and gives none twice.

// marksOf names the file of a database's marks.
func marksOf(path string) string { return path + "-marks" }

// Mark gives how far a mark stands; false where there is none beside this database. Only a transaction that writes may rely on it: others wait for their turn.
func (tx *Tx) Mark(name string) (n int64, stands bool, err error) {
	if n, ok := tx.marks[name]; ok {
		return n, true, nil
	}
	all, err := tx.db.readMarks()
	n, stands = all[name]
	return n, stands, err
}

// RaiseMark raises a mark once this transaction is kept; it never lowers one.
func (tx *Tx) RaiseMark(name string, n int64) {
	if tx.marks == nil {
		tx.marks = map[string]int64{}
	}
	tx.marks[name] = max(n, tx.marks[name])
}

func (db *DB) readMarks() (map[string]int64, error) {
	data, err := os.ReadFile(marksOf(db.path))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, files.Failed(marksOf(db.path), err)
	}
	var all map[string]int64
	if err := json.Unmarshal(data, &all); err != nil {
		return nil, lots.Errorf(lots.Corrupt, "%s, which keeps numbers from being given twice, cannot be read (%w): move it away, and the next numbers skip far ahead", marksOf(db.path), err)
	}
	return all, nil
}

// keepMarks puts raised marks on the disk. It is called while the writing lock is held.
func (tx *Tx) keepMarks() error {
	if len(tx.marks) == 0 || tx.db.scratch {
		return nil
	}
	was, err := tx.db.readMarks()
	if err != nil {
		return err
	}
	all := maps.Clone(tx.marks)
	for name, n := range was {
		all[name] = max(n, all[name])
	}
	text, err := canonical(all)
	if err != nil {
		return err
	}
	return files.WriteWhole(marksOf(tx.db.path), []byte(text+"\n"))
}
