-- Calendar feeds: the week of a machine or a person under an address nobody can guess.

-- Only the SHA-256 of what the address holds is kept.
create table feed (
    shop_id uuid not null references shop,
    id uuid not null,
    token_hash bytea not null check (length(token_hash) = 32),
    machine_id uuid,
    person_id uuid,
    note text not null,                       -- who or what reads it
    made_at timestamptz not null default now(),
    made_by uuid,
    revoked_at timestamptz,
    revoked_by uuid,
    read_at timestamptz,                      -- last, give or take a few minutes
    primary key (shop_id, id),
    foreign key (shop_id, machine_id) references machine on delete cascade,
    foreign key (shop_id, person_id) references person on delete cascade,
    foreign key (shop_id, made_by) references person,
    foreign key (shop_id, revoked_by) references person,
    check (num_nonnulls(machine_id, person_id) = 1)
);
create unique index feed_token on feed (shop_id, token_hash);
call make_tenant('feed');

-- What a feed last said of each entry, by the digest of it, and how often that has changed: a client must be told.
create table feed_entry (
    shop_id uuid not null references shop,
    uid text not null,
    digest bytea not null,
    sequence int not null default 0,
    revised_at timestamptz not null,
    primary key (shop_id, uid)
);
call make_tenant('feed_entry');
