-- Programs come in with tokens of their own: hashed, narrowed to what they need, ended when nobody needs them.
create table api_token (
    shop_id uuid not null references shop,
    id uuid not null,
    token_hash bytea not null check (length(token_hash) = 32),
    person_id uuid not null,                  -- in whose name it acts: it never may more than they may
    role text not null check (role in ('machinist', 'office', 'owner')),
    scope text not null check (scope in ('read', 'write')),
    note text not null,                       -- the program that uses it
    made_at timestamptz not null default now(),
    expires_at timestamptz not null,
    used_at timestamptz,                      -- last, give or take a few minutes
    revoked_at timestamptz,
    revoked_by uuid,
    primary key (shop_id, id),
    foreign key (shop_id, person_id) references person on delete cascade,
    foreign key (shop_id, revoked_by) references person
);
create unique index api_token_of_hash on api_token (shop_id, token_hash);
create index api_token_of_person on api_token (shop_id, person_id);
call make_tenant('api_token');
call keep_history('api_token');

-- What a program made under a key of its own, so that the same request sent again makes nothing twice. The row is written in
-- the transaction that makes the thing.
create table api_request (
    shop_id uuid not null references shop,
    person_id uuid not null,
    key_hash bytea not null check (length(key_hash) = 32),
    digest bytea not null check (length(digest) = 32),   -- of what was asked
    made_id uuid not null,
    made_at timestamptz not null default now(),
    primary key (shop_id, person_id, key_hash),
    foreign key (shop_id, person_id) references person on delete cascade
);
create index api_request_by_age on api_request (shop_id, made_at);
call make_tenant('api_request');
