-- A second factor for owners: codes by the clock (RFC 6238), and recovery codes for when the telephone is lost.

create table second_factor (
    shop_id uuid not null references shop,
    person_id uuid not null,
    secret bytea not null check (length(secret) = 20),
    confirmed_at timestamptz,                  -- null until a first code has shown that the telephone has it
    last_step bigint not null default 0,       -- the newest time step a code was taken for: none is taken twice
    primary key (shop_id, person_id),
    foreign key (shop_id, person_id) references person on delete cascade
);
call make_tenant('second_factor');
call keep_history('second_factor');

-- Only the SHA-256 of a code is kept; each is taken once.
create table recovery_code (
    shop_id uuid not null references shop,
    id uuid not null,
    person_id uuid not null,
    code_hash bytea not null check (length(code_hash) = 32),
    spent_at timestamptz,
    primary key (shop_id, id),
    foreign key (shop_id, person_id) references person on delete cascade
);
create index recovery_code_of on recovery_code (shop_id, person_id);
call make_tenant('recovery_code');
call keep_history('recovery_code');

-- A session whose password was right and whose code is awaited opens nothing yet.
alter table session add column awaits_code boolean not null default false;

-- Lists of a shop with a hundred thousand jobs behind it: each page is read from an index in its order.
create index job_state on job (shop_id, state, number);
create index job_promised on job (shop_id, promised_on) where promised_on is not null;
create index casting_state on casting (shop_id, state, number);
create index casting_by_variant on casting (shop_id, variant_id, number);
create index casting_of_job on casting (shop_id, job_id) where job_id is not null;
create index sighting_by_day on sighting (shop_id, seen_on desc, id desc);
