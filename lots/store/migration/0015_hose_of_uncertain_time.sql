-- What a transfer of uncertain time came through, and what its vessel was cleaned with before it, counts for what may have been drawn after it, and its
-- pass bears its name: the lineage is derived anew by the rules of today.
UPDATE record SET digest = 0;
