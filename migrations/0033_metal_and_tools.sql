-- What castings are made of and weigh; which elements are done on which metal, and the tools they take.
alter table pattern
    add metal text not null default 'grey_iron' check (metal in ('grey_iron', 'ductile_iron', 'aluminium', 'steel')),
    add weight_kg numeric check (weight_kg > 0);
alter table work_material
    add metal text check (metal in ('grey_iron', 'ductile_iron', 'aluminium', 'steel'));
create unique index work_material_metal on work_material (shop_id, metal);
alter table element
    add metals text[] not null default '{}',   -- empty: any
    add tools text[] not null default '{}';    -- that come back; {part} stands for the pattern

alter table work_material no force row level security;
alter table work_material disable trigger user;
update work_material set metal = case lower(name) when 'grey cast iron' then 'grey_iron' else 'aluminium' end
where lower(name) in ('grey cast iron', 'aluminium alloy');
alter table work_material enable trigger user;
alter table work_material force row level security;

-- The elements of the starting set: magnetic particles are for what a magnet attracts, and aluminium is tested with dye.
alter table element no force row level security;
alter table element disable trigger user;
update element set metals = '{grey_iron,ductile_iron,steel}' where code = 'CRACK-TEST';
insert into element (shop_id, id, code, name, stage, machine_kind, skill, basis, standing, can_fail, apart, setup_minutes,
                     handling_minutes, owner_minutes, attended_share, spread, checks, cautions, materials, left_out, metals)
select shop_id, gen_random_uuid(), 'CRACK-DYE', 'Crack-test by dye penetrant', 'inspect', machine_kind, skill, basis, standing,
       can_fail, apart, setup_minutes, handling_minutes, owner_minutes, attended_share, spread,
       '[{"what": "Main webs, cap faces, deck between bores", "kind": "yes_no", "instrument": "dye penetrant, developer",
          "note": "no crack indication after the developer''s full time"}]',
       '["Testing and its reading are for a qualified person.",
         "Penetrant and developer: gloves, ventilation, no flame; follow the maker''s safety sheet."]', '[]', left_out, '{aluminium}'
from element as magnetic
where code = 'CRACK-TEST'
  and not exists (select from element e where e.shop_id = magnetic.shop_id and e.code = 'CRACK-DYE');
update element set tools = array['Temporary main cap bolts, {part}', 'Alignment mandrel, {part}'] where code = 'MAINS-LINE-BORE';
alter table element enable trigger user;
alter table element force row level security;
