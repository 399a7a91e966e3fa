-- Failed sign-ins are counted by name and address together, so that nobody is held up by what others try elsewhere; and
-- browsers that a person has signed in from before are known.

-- Tries at shops that do not exist are counted too, under keys of no shop, so that they look the same from outside.
alter table sign_in_failure drop constraint sign_in_failure_shop_id_fkey;
create index sign_in_failure_from on sign_in_failure (shop_id, address, at);

-- A browser from which a person has signed in. Only the SHA-256 of its token is kept; it opens nothing by itself.
create table known_browser (
    shop_id uuid not null references shop,
    token_hash bytea not null check (length(token_hash) = 32),
    person_id uuid not null,
    used_at timestamptz not null,
    primary key (shop_id, token_hash, person_id),
    foreign key (shop_id, person_id) references person on delete cascade
);
create index known_browser_of on known_browser (shop_id, person_id);
call make_tenant('known_browser');
