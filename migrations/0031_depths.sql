-- How thick the metal is, where somebody has said so. Until now a boss without a deepest hole was one through which a hole
-- may go; from now on that is said, and where neither is said nobody knows.
alter table boss no force row level security;
alter table boss disable trigger user;
alter table boss add through boolean not null default false;
update boss set through = deepest_mm is null;
alter table boss enable trigger user;
alter table boss force row level security;

-- Metal that nobody has measured is measured before it is cut, so every shop with standard times needs the element.
alter table element no force row level security;
alter table element disable trigger user;
insert into element (shop_id, id, code, name, stage, machine_kind, skill, basis, standing, can_fail, apart, setup_minutes,
                     handling_minutes, owner_minutes, attended_share, spread, checks, cautions, materials, left_out)
select shop_id, gen_random_uuid(), 'WALL-MEASURE', 'Measure how thick the metal is, by ultrasound', 'inspect', 'bench',
       'inspection', 'per_feature', 'asked', true, false, 5, 0, 8, 1,
       (select e.spread from element e where e.shop_id = shops.shop_id order by e.code limit 1),
       '[{"what": "Thickness of the metal", "kind": "yes_no", "instrument": "ultrasonic thickness gauge, set on a piece of the same iron",
          "note": "more than the tool goes deep, with what the shop wants left under it"}]',
       '["Stop and ask before cutting when the reading is doubtful: cast skin and slag give false ones."]', '[]', ''
from (select distinct shop_id from element) as shops
where not exists (select from element e where e.shop_id = shops.shop_id and e.code = 'WALL-MEASURE');
alter table element enable trigger user;
alter table element force row level security;
