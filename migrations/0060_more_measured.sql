-- More of what the pattern gives the limits of: surface finish, squareness of a bore, height of a liner, width of the thrust
-- faces. Checks of the starting set that a shop has not changed ask for them.

alter table element no force row level security;
alter table element disable trigger user;
update element set checks = '[{"what": "Bore square to the main line, over its length", "kind": "bore_square",
                               "instrument": "square on the mandrel, dial indicator", "each": true}]'
where code = 'BORE-CYLINDER' and checks = '[]';
update element set checks = checks || '[{"what": "Surface finish Ra", "kind": "bore_finish",
                                         "instrument": "surface tester, along the bore, middle of the rings'' travel", "each": true}]'
where code = 'HONE-CYLINDER' and checks @> '[{"kind": "bore_ovality"}]' and not checks @> '[{"kind": "bore_finish"}]';
update element set checks = checks || '[{"what": "Surface finish Ra of the deck", "kind": "deck_finish",
                                         "instrument": "surface tester, across the lay"}]'
where code = 'DECK-FACE' and checks @> '[{"what": "Flatness of the deck", "kind": "one_sided"}]';
update element set checks = checks || '[{"what": "Width over the thrust faces", "kind": "thrust_width",
                                         "instrument": "micrometer or height gauge"}]'
where code = 'MAINS-LINE-BORE' and checks @> '[{"kind": "housing"}]';
update element set checks = (
    select jsonb_agg(case when one ->> 'what' = 'Liner above the deck' and coalesce(one ->> 'kind', 'yes_no') = 'yes_no'
                     then '{"what": "Liner above the deck", "kind": "liner_height",
                            "instrument": "dial on a bridge, liner clamped as the head clamps it", "each": true,
                            "places": ["front", "rear", "left", "right"]}'::jsonb else one end order by nth)
    from jsonb_array_elements(checks) with ordinality as each_check (one, nth))
where code = 'LINER-FIT' and checks @> '[{"what": "Liner above the deck"}]';
alter table element enable trigger user;
alter table element force row level security;
