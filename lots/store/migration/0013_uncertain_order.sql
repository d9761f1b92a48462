-- Beer that may have gone through a vessel perhaps joined while it was never filled, circulations on a day with a clean, and windows of one moment
-- count as possible now: the lineage is derived anew by the rules of today.
UPDATE record SET digest = 0;
