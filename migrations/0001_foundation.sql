-- The foundation: the service's role, the shop of a transaction, tenant tables, history, human numbers.
-- Every table carries shop_id first in its key and has row-level security forced, so a shop is a shard.

do $$
begin
    if not exists (select from pg_roles where rolname = 'borewright_service') then
        create role borewright_service login noinherit nocreatedb nocreaterole;
    end if;
    -- So that an owner who is no superuser can let its connections work as the service.
    if not pg_has_role(current_user, 'borewright_service', 'member') then
        execute format('grant borewright_service to %I', current_user);
    end if;
end
$$;
grant usage on schema public to borewright_service;

-- The shop that the running transaction works for; null (and so no rows at all) until one is set.
create function current_shop() returns uuid language sql stable
    as $$ select nullif(current_setting('borewright.shop_id', true), '')::uuid $$;

-- The person on whose behalf it works; null for the program itself.
create function current_person() returns uuid language sql stable
    as $$ select nullif(current_setting('borewright.person_id', true), '')::uuid $$;

-- Makes a table a tenant table: its rows are seen and written only under their own shop.
create procedure make_tenant(t regclass) language plpgsql as $$
begin
    execute format('alter table %s enable row level security', t);
    execute format('alter table %s force row level security', t);
    execute format('create policy tenant on %s using (shop_id = current_shop()) with check (shop_id = current_shop())', t);
    execute format('grant select, insert, update, delete on %s to borewright_service', t);
end
$$;

-- What changed, who changed it and when. Appended by triggers, never edited.
create table history (
    shop_id uuid not null,
    id bigint generated always as identity,
    at timestamptz not null default now(),
    person_id uuid,
    table_name text not null,
    row_id uuid,
    action text not null,
    before jsonb,
    after jsonb,
    primary key (shop_id, id)
);
create index history_of_row on history (shop_id, table_name, row_id, id);
call make_tenant('history');
revoke update, delete on history from borewright_service;

create function record_history() returns trigger language plpgsql as $$
declare
    old_row jsonb := case when tg_op <> 'INSERT' then to_jsonb(old) end;
    new_row jsonb := case when tg_op <> 'DELETE' then to_jsonb(new) end;
    row_now jsonb := coalesce(new_row, old_row);
begin
    if old_row is distinct from new_row then
        insert into history (shop_id, person_id, table_name, row_id, action, before, after)
        values ((row_now ->> 'shop_id')::uuid, current_person(), tg_table_name,
                coalesce(row_now ->> 'id', row_now ->> 'shop_id')::uuid, lower(tg_op), old_row, new_row);
    end if;
    return null;
end
$$;

-- Keeps the history of a table that holds money, time or promises.
create procedure keep_history(t regclass) language plpgsql as $$
begin
    execute format('create trigger keep_history after insert or update or delete on %s for each row execute function record_history()', t);
end
$$;

-- Which short name belongs to which shop: the one thing that must be known before a shop is set.
create table shop_directory (
    short_name text primary key check (short_name ~ '^[a-z0-9][a-z0-9-]{1,39}$'),
    shop_id uuid not null unique
);
grant select, insert on shop_directory to borewright_service;

create table shop (
    shop_id uuid primary key,
    name text not null,
    currency text not null,
    time_zone text not null,
    length_unit text not null check (length_unit in ('mm', 'inch')),
    overhead_percent numeric not null,
    margin_percent numeric not null,
    tax_percent numeric not null,
    tax_name text not null,
    confidence_percent int not null check (confidence_percent between 50 and 99),
    quote_valid_days int not null check (quote_valid_days between 1 and 365),
    version int not null default 1
);
call make_tenant('shop');
call keep_history('shop');

-- Next human number of each kind of paper: enquiry, quote, job.
create table counter (
    shop_id uuid not null references shop,
    name text not null,
    next_number bigint not null default 1,
    primary key (shop_id, name)
);
call make_tenant('counter');

create table person (
    shop_id uuid not null references shop,
    id uuid not null,
    name text not null,
    sign_in text not null,
    role text not null check (role in ('owner', 'office', 'machinist')),
    password_hash text not null,
    skills text[] not null default '{}',
    active boolean not null default true,
    version int not null default 1,
    primary key (shop_id, id)
);
create unique index person_sign_in on person (shop_id, lower(sign_in));
call make_tenant('person');

-- A signed-in browser. Only the SHA-256 of its token is kept.
create table session (
    shop_id uuid not null references shop,
    token_hash bytea not null,
    person_id uuid not null,
    csrf_token text not null,
    created_at timestamptz not null default now(),
    last_seen_at timestamptz not null default now(),
    expires_at timestamptz not null,
    primary key (shop_id, token_hash),
    foreign key (shop_id, person_id) references person on delete cascade
);
call make_tenant('session');

-- Failed sign-ins, to slow repeated ones down.
create table sign_in_failure (
    shop_id uuid not null references shop,
    id uuid not null,
    sign_in text not null,
    address text not null,
    at timestamptz not null default now(),
    primary key (shop_id, id)
);
create index sign_in_failure_recent on sign_in_failure (shop_id, sign_in, at);
call make_tenant('sign_in_failure');
