-- Which kinds of work come before which, as a shop has it, [{"first": …, "then": …, "why": …}]; null is the usual order.
alter table shop add order_of_work jsonb;

-- Elements that must follow wherever this one is done.
alter table element add followed_by text[] not null default '{}';

-- Kinds of work that were under "rough work" and "seal housing" have their own now: the elements of the starting set go
-- there, whatever a shop has made of their times. Welding is followed by a crack test.
alter table element no force row level security;
alter table element disable trigger user;
update element set stage = new.stage
from (values ('CRACK-STITCH', 'rough', 'repair'), ('CRACK-WELD-OUT', 'rough', 'repair'), ('DECK-FACE', 'rough', 'deck'),
             ('BORE-CYLINDER', 'rough', 'cylinder'), ('HONE-CYLINDER', 'rough', 'hone'),
             ('SEAL-SPLIT-FIT', 'seal', 'seal_fit'), ('SEAL-SCROLL-FIT', 'seal', 'seal_fit')) as new (code, old, stage)
where element.code = new.code and element.stage = new.old;
insert into element (shop_id, id, code, name, stage, machine_kind, skill, basis, standing, can_fail, apart, setup_minutes,
                     handling_minutes, owner_minutes, attended_share, spread, checks, cautions, materials, left_out)
select shop_id, gen_random_uuid(), 'CRACK-RETEST', 'Crack-test again after welding', 'retest', 'bench', 'inspection', 'once',
       'asked', true, false, 10, 0, 25, 1, spread,
       '[{"what": "The weld and the metal round it", "kind": "yes_no", "instrument": "magnetic particles, ultraviolet lamp",
          "note": "no crack indication"}]',
       '["Testing and its reading are for a qualified person; keep the lamp out of eyes."]', '[]', ''
from element as welded
where code = 'CRACK-WELD-OUT'
  and not exists (select from element e where e.shop_id = welded.shop_id and e.code = 'CRACK-RETEST');
update element set followed_by = array['CRACK-RETEST'] where code = 'CRACK-WELD-OUT';
alter table element enable trigger user;
alter table element force row level security;
