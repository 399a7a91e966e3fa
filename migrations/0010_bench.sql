-- The bench: known devices, PINs, who signed on where, and what was booked there. Bookings are append-only: what was
-- wrong is put right by a later entry that says why and points at it.

-- A tablet or phone that may stand at the bench. Only the SHA-256 of its token is kept.
create table device (
    shop_id uuid not null references shop,
    id uuid not null,
    name text not null,
    token_hash bytea not null,
    machine_id uuid,                           -- the machine it usually stands at
    registered_at timestamptz not null,
    registered_by uuid,
    last_seen_at timestamptz not null,
    pin_failures int not null default 0,       -- wrong PINs since the last right one
    locked_at timestamptz,                     -- after too many of them, until the owner unlocks it
    revoked_at timestamptz,
    primary key (shop_id, id),
    foreign key (shop_id, machine_id) references machine,
    foreign key (shop_id, registered_by) references person
);
create unique index device_token on device (shop_id, token_hash);
create unique index device_name on device (shop_id, lower(name)) where revoked_at is null;
call make_tenant('device');

-- The short number a person signs on with at a known device.
create table bench_pin (
    shop_id uuid not null,
    person_id uuid not null,
    pin_hash text not null,
    set_at timestamptz not null,
    primary key (shop_id, person_id),
    foreign key (shop_id, person_id) references person on delete cascade
);
call make_tenant('bench_pin');

-- Who signed on at which device, and until when that lets them book there.
create table sign_on (
    shop_id uuid not null,
    id uuid not null,
    device_id uuid not null,
    person_id uuid not null,
    at timestamptz not null,
    until timestamptz not null,
    ended_at timestamptz,
    primary key (shop_id, id),
    foreign key (shop_id, device_id) references device,
    foreign key (shop_id, person_id) references person,
    check (until > at)
);
create index sign_on_at_device on sign_on (shop_id, device_id, at);
call make_tenant('sign_on');

create table booking (
    shop_id uuid not null,
    id uuid not null,                          -- the idempotency key, made where it was entered
    kind text not null check (kind in ('setup', 'run', 'run_alone', 'pause', 'done', 'moved', 'struck', 'stands')),
    operation_id uuid not null,
    machine_id uuid,
    person_id uuid not null,                   -- whose time it is
    entered_by uuid not null,
    device_id uuid,                            -- null: entered away from the bench
    at timestamptz not null,                   -- when it happened, by this server's clock
    device_at timestamptz not null,            -- the same by the clock of the device
    received_at timestamptz not null,
    sequence bigint generated always as identity,
    corrects uuid,
    reason text,
    conflict text check (conflict in ('operation_done', 'job_closed', 'on_hold', 'waits')),
    primary key (shop_id, id),
    foreign key (shop_id, operation_id) references job_operation,
    foreign key (shop_id, machine_id) references machine,
    foreign key (shop_id, person_id) references person,
    foreign key (shop_id, entered_by) references person,
    foreign key (shop_id, device_id) references device,
    foreign key (shop_id, corrects) references booking,
    check (kind not in ('moved', 'struck', 'stands') or corrects is not null),
    check (corrects is null or reason is not null)
);
create index booking_of_operation on booking (shop_id, operation_id, at);
create index booking_by_time on booking (shop_id, at);
create index booking_corrected on booking (shop_id, corrects) where corrects is not null;
create index booking_conflict on booking (shop_id, sequence) where conflict is not null;
call make_tenant('booking');
revoke update, delete on booking from borewright_service;

-- What came from a device and could not be booked: kept word for word until someone has looked at it.
create table set_aside (
    shop_id uuid not null references shop,
    id uuid not null,
    device_id uuid not null,
    body jsonb not null,
    why text not null,
    received_at timestamptz not null,
    settled_at timestamptz,
    settled_by uuid,
    settled_note text,
    primary key (shop_id, id),
    foreign key (shop_id, device_id) references device,
    foreign key (shop_id, settled_by) references person,
    check (num_nonnulls(settled_at, settled_by, settled_note) in (0, 3))
);
call make_tenant('set_aside');
revoke delete on set_aside from borewright_service;

-- Not even the owner of the tables rewrites what was booked.
create function refuse_rewriting() returns trigger language plpgsql as $$
begin
    raise exception 'entries of % are never changed or deleted; enter a correction', tg_table_name
        using errcode = 'restrict_violation';
end
$$;
create trigger append_only before update or delete on booking for each row execute function refuse_rewriting();
create trigger never_emptied before truncate on booking for each statement execute function refuse_rewriting();
