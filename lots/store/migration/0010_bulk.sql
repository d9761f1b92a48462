-- Shipments in bulk have a unit of measure (quantity_unit, goods), and circulations may be none (perhaps). A quantity with a unit
-- is no part of what rows are found again by: 0 asks for the digest to be worked out anew.
UPDATE record SET digest = 0;
