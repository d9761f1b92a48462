-- A blank residue, and a hired vessel without a clean on record, count as unknown now: the lineage is derived anew by the rules of today.
UPDATE record SET digest = 0;
