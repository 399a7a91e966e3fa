-- Limits that the pattern gives: main housings and bores of the starting set are measured against the sizes of the pattern
-- instead of being judged. And carriage by weight.

alter table element no force row level security;
alter table element disable trigger user;
update element set checks = (
    select jsonb_agg(new.check_ order by old.nth, new.nth)
    from jsonb_array_elements(element.checks) with ordinality as old (check_, nth)
    cross join lateral (
        select * from jsonb_array_elements(
            case when old.check_ ->> 'what' = 'Main housing diameter, each' and old.check_ ->> 'kind' = 'yes_no'
            then '[{"what": "Main housing, caps at final torque", "kind": "housing", "instrument": "bore gauge", "each": true,
                    "places": ["upright", "near the joint"]},
                   {"what": "Ovality of the housing", "kind": "housing_ovality", "instrument": "bore gauge", "each": true}]'::jsonb
            else jsonb_build_array(old.check_) end) with ordinality
    ) as new (check_, nth))
where code = 'MAINS-LINE-BORE' and jsonb_array_length(checks) > 0;
update element set checks = (
    select jsonb_agg(new.check_ order by old.nth, new.nth)
    from jsonb_array_elements(element.checks) with ordinality as old (check_, nth)
    cross join lateral (
        select * from jsonb_array_elements(
            case when old.check_ ->> 'what' = 'Bore size, taper, ovality' and old.check_ ->> 'kind' = 'yes_no'
            then '[{"what": "Piston clearance", "kind": "piston_clearance",
                    "instrument": "bore gauge, micrometer on the piston''s skirt", "each": true},
                   {"what": "Taper", "kind": "bore_taper", "instrument": "bore gauge, top, middle and bottom", "each": true},
                   {"what": "Ovality", "kind": "bore_ovality", "instrument": "bore gauge, along and across", "each": true}]'::jsonb
            else jsonb_build_array(old.check_) end) with ordinality
    ) as new (check_, nth))
where code = 'HONE-CYLINDER' and jsonb_array_length(checks) > 0;
alter table element enable trigger user;
alter table element force row level security;

-- What carriage of a casting costs: so much, and so much a kilogram; null where the shop has not said.
alter table shop
    add carriage_base numeric check (carriage_base >= 0),
    add carriage_per_kg numeric check (carriage_per_kg >= 0);
