package desk

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"heeltap/lots"
	"heeltap/lots/store"
)

// letters begin the codes that are proposed; a year and a running number follow, so that codes sort by age.
var letters = map[string]string{
	"receipts": "L", "crops": "Y", "brews": "B", "transfers": "T", "runs": "R", "units": "P", "shipments": "S", "returns": "U",
}

// propose gives a row a code where it needs one and has none: the year's next free
// number, or the keg and its run.
func propose(tx *store.Tx, s *lots.Sheet, row lots.Row) error {
	if s.Code == "" {
		return nil
	}
	code := row[s.Code]
	if s.Name == "units" && row["kind"] == "keg" {
		if code == "" {
			return lots.Errorf(lots.Invalid, "a keg filling needs the keg's number, as in heeltap pack K0417 --kind keg --run R26-0031")
		}
		if !strings.Contains(code, "/") {
			row[s.Code] = code + "/" + row["run"]
		}
		return nil
	}
	letter, known := letters[s.Name]
	if code != "" || !known {
		return nil
	}
	year := tx.Recorded().In(tx.Site().Zone)
	if w, _, err := lots.ParseWhen(row[s.When], tx.Site().Zone); err == nil {
		year = time.Unix(w.From, 0).In(tx.Site().Zone)
	}
	prefix := letter + year.Format("06") + "-"
	next := 1
	if last := tx.LastCode(s, prefix, 4); last != "" {
		n, err := strconv.Atoi(strings.TrimPrefix(last, prefix))
		if err != nil || n == 9999 {
			return lots.Errorf(lots.Conflict, "there is no free number after %s: give a code", last)
		}
		next = n + 1
	}
	row[s.Code] = fmt.Sprintf("%s%04d", prefix, next)
	return nil
}
