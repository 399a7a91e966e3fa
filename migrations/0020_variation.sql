-- How much work varies, as the shop sets it: shares are coefficients of variation in per cent. The figures to begin with are
-- common practice, no source.

alter table shop
    add level_percent numeric not null default 100 check (level_percent between 50 and 300),
    add shop_percent numeric not null default 5 check (shop_percent between 0 and 100),
    add person_percent numeric not null default 8 check (person_percent between 0 and 100),
    add element_percent numeric not null default 8 check (element_percent between 0 and 100),
    add job_percent numeric not null default 12 check (job_percent between 0 and 100),
    add outside_percent numeric not null default 25 check (outside_percent between 0 and 100),
    add absence_percent numeric not null default 2 check (absence_percent between 0 and 50),
    add breakdown_hours numeric not null default 1000 check (breakdown_hours = 0 or breakdown_hours between 20 and 100000),
    add repair_hours numeric not null default 6 check (repair_hours between 0 and 2000),
    add rework_percent numeric not null default 2 check (rework_percent between 0 and 50),
    add rework_share_percent numeric not null default 50 check (rework_share_percent between 0 and 200);
