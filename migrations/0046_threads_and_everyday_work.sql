-- Thread inserts are wound in by an element of their own; a weld in aluminium is tested again with dye, because magnetic
-- particles show nothing in it; and everyday work is kept as templates.

alter table element no force row level security;
alter table element disable trigger user;
insert into element (shop_id, id, code, name, stage, machine_kind, skill, basis, standing, can_fail, apart, setup_minutes,
                     handling_minutes, owner_minutes, attended_share, spread, checks, cautions, materials, left_out)
select shop_id, gen_random_uuid(), 'INSERT-FIT', 'Wind in wire thread insert', 'hole', 'bench', 'fitting', 'per_feature',
       'asked', false, false, 5, 0, 4, 1, spread,
       '[{"what": "Insert", "kind": "yes_no", "instrument": "eye, bolt",
          "note": "a quarter to half a turn below the face, tang off and out of the hole, bolt goes in by hand"}]',
       '["Count the tangs: one left in an oil way or a cylinder does harm.", "The insert maker''s drill, tap and length decide."]',
       '[]', ''
from element as tapping
where code = 'HOLE-TAP'
  and not exists (select from element e where e.shop_id = tapping.shop_id and e.code = 'INSERT-FIT');
insert into element (shop_id, id, code, name, stage, machine_kind, skill, basis, standing, can_fail, apart, setup_minutes,
                     handling_minutes, owner_minutes, attended_share, spread, checks, cautions, materials, left_out, metals)
select shop_id, gen_random_uuid(), 'CRACK-RETEST-DYE', 'Crack-test by dye again after welding', stage, machine_kind, skill,
       basis, standing, can_fail, apart, setup_minutes, handling_minutes, greatest(owner_minutes, 40), attended_share, spread,
       '[{"what": "The weld and the metal round it", "kind": "yes_no", "instrument": "dye penetrant, developer",
          "note": "no crack indication after the developer''s full time"}]',
       '["Testing and its reading are for a qualified person.",
         "Penetrant and developer: gloves, ventilation, no flame; follow the maker''s safety sheet."]', '[]', left_out, '{aluminium}'
from element as magnetic
where code = 'CRACK-RETEST'
  and not exists (select from element e where e.shop_id = magnetic.shop_id and e.code = 'CRACK-RETEST-DYE');
update element set metals = '{grey_iron,ductile_iron,steel}' where code = 'CRACK-RETEST' and metals = '{}';
update element set followed_by = followed_by || array['CRACK-RETEST-DYE']
where 'CRACK-RETEST' = any (followed_by) and not 'CRACK-RETEST-DYE' = any (followed_by);
alter table element enable trigger user;
alter table element force row level security;

-- A list of work from the standard times under a name: what a caller for everyday work is quoted from.
create table work_template (
    shop_id uuid not null references shop,
    id uuid not null,
    name text not null,
    part text not null,
    codes text[] not null,
    counts int[] not null,
    cylinders int check (cylinders > 0),
    mains int check (mains > 0),
    ask text not null,                         -- what to ask the caller, and what to look at first
    version int not null default 1,
    primary key (shop_id, id),
    check (cardinality(codes) = cardinality(counts))
);
create unique index work_template_name on work_template (shop_id, lower(name));
call make_tenant('work_template');
call keep_history('work_template');
