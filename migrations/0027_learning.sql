-- Learning from bookings: what a calculated time is multiplied by, and what was decided about each proposed standard.

-- What the cutting-time calculation with its handling is multiplied by, in per cent, as the shop's own bookings have it.
alter table element
    add calculated_percent numeric not null default 100 check (calculated_percent between 10 and 1000);

-- What the owner decided about a proposed standard time, and what it rested on. Rows are only ever added.
create table standard_decision (
    shop_id uuid not null references shop,
    id uuid not null,
    element_id uuid not null,
    part text not null check (part in ('setup', 'run')),
    decision text not null check (decision in ('accepted', 'changed', 'refused')),
    reason text not null,
    measure text not null check (measure in ('minutes', 'percent')), -- minutes each, or per cent of the calculated time
    before numeric not null,       -- the standard as it was
    proposed numeric not null,
    after numeric not null,        -- the standard from then on
    ratio_low numeric not null,    -- actual over standard, with its 90 % interval
    ratio numeric not null,
    ratio_high numeric not null,
    operations int not null,       -- finished operations it rested on
    decided_at timestamptz not null,
    decided_by uuid not null,
    primary key (shop_id, id),
    foreign key (shop_id, element_id) references element on delete cascade,
    foreign key (shop_id, decided_by) references person,
    check (decision <> 'refused' or (before = after and reason <> ''))
);
create index standard_decision_of on standard_decision (shop_id, element_id, part, decided_at desc);
call make_tenant('standard_decision');
revoke update on standard_decision from borewright_service;
