-- A clean may say what it was done with, and what was filled after each clean is kept with the vessel's books: the lineage is derived anew.
UPDATE record SET digest = 0;
