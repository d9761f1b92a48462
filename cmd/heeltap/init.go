package main

import (
	"cmp"

	"github.com/spf13/cobra"

	"heeltap/graph/desk"
	"heeltap/lots"
	"heeltap/lots/store"
)

func (e *env) initCommand() *cobra.Command {
	var name, zone, volume, mass, by string
	cmd := &cobra.Command{
		Use:   "init",
		Short: "Create a new database",
		Long:  "Create a new, empty database for one brewery. --name and --time-zone record the site at once.",
		Example: `  heeltap init --name "My Brewery" --time-zone Europe/Dublin --volume-unit hL
  heeltap --db records.db init --name "My Brewery" --time-zone America/Chicago --volume-unit bbl --mass-unit lb`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if name == "" && zone != "" || name != "" && zone == "" {
				return lots.Errorf(lots.Invalid, "give both --name and --time-zone, or give neither and record the site later")
			}
			err := store.CreateWith(cmd.Context(), e.path(), func(db *store.DB) error {
				db.Now = e.now
				if name == "" {
					return nil
				}
				row := lots.Row{"name": name, "time_zone": zone}
				for column, v := range map[string]string{"volume_unit": volume, "mass_unit": mass} {
					if v != "" {
						row[column] = v
					}
				}
				site, _ := lots.SheetNamed("site")
				return db.Update(cmd.Context(), func(tx *store.Tx) error {
					_, err := desk.Record(tx, desk.Act{Sheet: site, Row: row, By: cmp.Or(by, e.getenv("HEELTAP_BY"), "init")})
					return err
				})
			})
			switch {
			case lots.KindOf(err) == lots.Conflict && name != "":
				return lots.Errorf(lots.Conflict, "%w; if it has no site yet, record one: heeltap site --name %q --time-zone %s", err, name, zone)
			case err != nil:
				return err
			}
			e.printf("Created %s. Next: heeltap import FOLDER, or record items, parties and vessels.\n", e.path())
			return nil
		},
	}
	cmd.Flags().StringVar(&name, "name", "", "the brewery's name")
	cmd.Flags().StringVar(&zone, "time-zone", "", "IANA time zone, such as Europe/Dublin")
	cmd.Flags().StringVar(&volume, "volume-unit", "", "unit for volumes (else L)")
	cmd.Flags().StringVar(&mass, "mass-unit", "", "unit for masses (else kg)")
	cmd.Flags().StringVar(&by, "by", "", "who sets it up (else HEELTAP_BY)")
	return cmd
}

// showSite prints the site's row.
func (e *env) showSite(cmd *cobra.Command) error {
	return e.question(cmd.Context(), func(tx *store.Tx) error {
		rows, err := tx.All("site")
		if err != nil {
			return err
		}
		if len(rows) == 0 {
			return lots.Errorf(lots.NotFound, "no site is recorded yet: heeltap site --name NAME --time-zone ZONE")
		}
		return e.showRows(tx, "site", rows)
	})
}
