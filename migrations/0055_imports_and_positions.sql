-- A hole may be entered before anybody has measured where it is.
alter table feature
    alter x_mm drop not null,
    alter y_mm drop not null,
    add check ((x_mm is null) = (y_mm is null));

-- What came in from a table, of whatever kind, so that it can be taken out again.
create table table_import (
    shop_id uuid not null references shop,
    id uuid not null,
    at timestamptz not null default now(),
    person_id uuid,
    kind text not null check (kind in ('customers', 'castings', 'stock', 'sightings', 'past-work')),
    keys uuid[] not null,
    undone_at timestamptz,
    primary key (shop_id, id),
    foreign key (shop_id, person_id) references person
);
create index table_import_newest on table_import (shop_id, kind, at desc);
alter table customer_import no force row level security;
insert into table_import (shop_id, id, at, person_id, kind, keys, undone_at)
select shop_id, id, at, person_id, 'customers', customers, undone_at from customer_import;
drop table customer_import;
call make_tenant('table_import');
revoke delete on table_import from borewright_service;

-- Work done before the shop booked its hours here: what the standard times are compared with beside the bookings.
create table past_work (
    shop_id uuid not null references shop,
    id uuid not null,
    job_key uuid not null,                -- the same for all rows of one job
    job text not null default '',         -- as the shop called it
    customer text not null default '',
    done_on date not null,
    element_id uuid not null,
    count int not null check (count > 0),
    minutes numeric not null check (minutes > 0),   -- in all, setup included
    primary key (shop_id, id),
    foreign key (shop_id, element_id) references element
);
create index past_work_by_day on past_work (shop_id, done_on);
create index past_work_of_element on past_work (shop_id, element_id);
call make_tenant('past_work');
revoke update on past_work from borewright_service;

-- What names a casting, or was bought after a sighting, is looked for when an import is undone.
create index casting_of_sighting on casting (shop_id, sighting_id) where sighting_id is not null;
create index quote_of_casting on quote (shop_id, casting_id) where casting_id is not null;
