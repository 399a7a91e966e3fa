-- Working time: weekly shifts, holidays, stops. A machine or person without shifts of its own keeps the shop's.

create table shift (
    shop_id uuid not null references shop,
    id uuid not null,
    machine_id uuid, -- of one machine
    person_id uuid,  -- of one person; neither: of the shop
    weekday int not null check (weekday between 1 and 7), -- ISO 8601: Monday is 1
    starts time not null,
    ends time not null, -- at or before the start: on the next day
    version int not null default 1,
    primary key (shop_id, id),
    foreign key (shop_id, machine_id) references machine on delete cascade,
    foreign key (shop_id, person_id) references person on delete cascade,
    check (num_nonnulls(machine_id, person_id) <= 1)
);
create unique index shift_once on shift (shop_id, machine_id, person_id, weekday, starts) nulls not distinct;
call make_tenant('shift');
call keep_history('shift');

create table holiday (
    shop_id uuid not null references shop,
    id uuid not null,
    on_day date not null,
    name text not null,
    version int not null default 1,
    primary key (shop_id, id)
);
create unique index holiday_once on holiday (shop_id, on_day);
call make_tenant('holiday');
call keep_history('holiday');

-- A stretch without work whatever the shifts say: a service, a power cut, a day off.
create table stop (
    shop_id uuid not null references shop,
    id uuid not null,
    machine_id uuid,
    person_id uuid,
    starts_at timestamptz not null,
    ends_at timestamptz not null,
    why text not null,
    version int not null default 1,
    primary key (shop_id, id),
    foreign key (shop_id, machine_id) references machine on delete cascade,
    foreign key (shop_id, person_id) references person on delete cascade,
    check (num_nonnulls(machine_id, person_id) <= 1),
    check (ends_at > starts_at)
);
create index stop_by_end on stop (shop_id, ends_at);
call make_tenant('stop');
call keep_history('stop');
