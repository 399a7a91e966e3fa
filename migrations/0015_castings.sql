-- Castings as they really go: where each came from, whose it is, its marks, what was measured, photographs.

-- Who a job is for. A customer's own casting goes into that customer's job and no other.
alter table job
    add customer text not null default '',
    add customer_key text generated always as (nullif(lower(btrim(customer)), '')) stored,
    add constraint job_customer unique (shop_id, id, customer_key);

alter table casting
    add source text not null default 'bought' check (source in ('sighting', 'bought', 'customer')),
    add sighting_id uuid,
    add came_from text not null default '',
    add owner text not null default '',  -- the customer's name, when it is a customer's
    add owner_key text generated always as (case when ownership = 'customer' then lower(btrim(owner)) end) stored,
    add foreign key (shop_id, sighting_id) references sighting,
    add check (sighting_id is null or source = 'sighting'),
    -- The shop's own have no owner key, and then nothing is compared.
    add constraint customers_casting_for_their_job
        foreign key (shop_id, job_id, owner_key) references job (shop_id, id, customer_key);

create table casting_mark (
    shop_id uuid not null references shop,
    id uuid not null,
    casting_id uuid not null,
    kind text not null check (kind in ('cast', 'stamped')),
    place text not null,
    text text not null,
    noted_at timestamptz not null default now(),
    noted_by uuid,
    primary key (shop_id, id),
    foreign key (shop_id, casting_id) references casting on delete cascade,
    foreign key (shop_id, noted_by) references person
);
create index casting_mark_of on casting_mark (shop_id, casting_id);
call make_tenant('casting_mark');
call keep_history('casting_mark');

-- What was found at one time with one instrument. Appended: measuring again is another row.
create table casting_measurement (
    shop_id uuid not null references shop,
    id uuid not null,
    casting_id uuid not null,
    what text not null,
    face text,                        -- of a place of the register, when it is one
    label text,
    found text not null check (found in ('measured', 'there', 'absent')),
    value_mm numeric check (value_mm > 0),
    instrument text not null,
    at timestamptz not null default now(),
    person_id uuid,
    primary key (shop_id, id),
    foreign key (shop_id, casting_id) references casting on delete cascade,
    foreign key (shop_id, person_id) references person,
    check ((face is null) = (label is null)),
    check ((found = 'measured') = (value_mm is not null))
);
create index casting_measurement_of on casting_measurement (shop_id, casting_id, id);
call make_tenant('casting_measurement');
revoke update on casting_measurement from borewright_service;

-- Always JPEG, written anew by the program, so that nothing of the file that was sent is left in it. The bodies are here
-- or in a folder, as the service is set up.
create table casting_photo (
    shop_id uuid not null references shop,
    id uuid not null,
    casting_id uuid not null,
    caption text not null,
    width int not null check (width > 0),
    height int not null check (height > 0),
    body bytea,
    thumbnail bytea,
    added_at timestamptz not null default now(),
    added_by uuid,
    primary key (shop_id, id),
    foreign key (shop_id, casting_id) references casting on delete cascade,
    foreign key (shop_id, added_by) references person,
    check ((body is null) = (thumbnail is null))
);
create index casting_photo_of on casting_photo (shop_id, casting_id, id);
call make_tenant('casting_photo');
