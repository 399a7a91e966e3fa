-- Core plugs and sealing seats, the gearbox adaptor, a second pressure test after plugs or sleeves; pressure, temperature, time
-- and torques as numbers. For shops that have the starting set; checks that a shop has changed stay as they are.

alter table element no force row level security;
alter table element disable trigger user;
update element set checks = '[
    {"what": "Test pressure", "kind": "two_sided", "nominal": "3", "lower": "2.8", "upper": "3.2", "unit": "bar", "instrument": "gauge"},
    {"what": "Water temperature", "kind": "range", "lower": "60", "upper": "80", "unit": "°C", "instrument": "thermometer"},
    {"what": "Time under pressure, air shut off", "kind": "one_sided", "lower": "15", "unit": "min", "instrument": "clock"},
    {"what": "Fall of pressure in that time", "kind": "one_sided", "upper": "0.1", "unit": "bar", "instrument": "gauge"},
    {"what": "Water jacket, plugs, bores and deck", "kind": "yes_no", "note": "no bubbles", "instrument": "eye, lamp"}]'
where code = 'PRESSURE-TEST' and jsonb_array_length(checks) = 1
  and checks @> '[{"what": "Water jacket", "instrument": "gauge, warm water"}]';
insert into element (shop_id, id, code, name, stage, machine_kind, skill, basis, standing, can_fail, apart, setup_minutes,
                     handling_minutes, owner_minutes, attended_share, spread, checks, cautions, materials, left_out)
select shop_id, gen_random_uuid(), 'PRESSURE-RETEST', 'Pressure-test again after plugs or sleeves', 'rough', machine_kind, skill,
       'once', 'asked', true, false, setup_minutes, handling_minutes, owner_minutes, attended_share, spread, checks, cautions,
       materials, ''
from element as first_test
where code = 'PRESSURE-TEST'
  and not exists (select from element e where e.shop_id = first_test.shop_id and e.code = 'PRESSURE-RETEST');
update element set followed_by = followed_by || array['PRESSURE-RETEST']
where code in ('SLEEVE', 'LINER-FIT') and not 'PRESSURE-RETEST' = any (followed_by)
  and exists (select from element e where e.shop_id = element.shop_id and e.code = 'PRESSURE-RETEST');
update element set checks =
    '[{"what": "Torque of the temporary bolts", "kind": "torque_bolts", "instrument": "torque wrench"}]'::jsonb || checks ||
    '[{"what": "Torque of the final studs", "kind": "torque_studs", "instrument": "torque wrench"},
      {"what": "Main housing gauged again, final studs at final torque", "kind": "housing", "instrument": "bore gauge",
       "each": true, "places": ["upright", "near the joint"]}]'::jsonb
where code = 'MAINS-LINE-BORE' and checks @> '[{"kind": "housing"}]' and not checks @> '[{"kind": "torque_bolts"}]';
alter table element enable trigger user;
alter table element force row level security;
