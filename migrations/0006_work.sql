-- Work: castings on the shelf, enquiries, quotes frozen on the day they are given, jobs with their operations.

create table job (
    shop_id uuid not null references shop,
    id uuid not null,
    number bigint not null,
    quote_id uuid,
    title text not null,
    state text not null default 'open' check (state in ('open', 'done', 'cancelled')),
    due_on date not null,          -- the day the shop works to
    promised_on date,              -- the day the customer was promised, if one was
    created_at timestamptz not null default now(),
    version int not null default 1,
    primary key (shop_id, id)
);
create unique index job_number on job (shop_id, number);
create index job_open on job (shop_id, due_on) where state = 'open';
call make_tenant('job');
call keep_history('job');

-- An operation of a job. What was planned is kept whole; the columns beside it are read out of it, so they never differ.
create table job_operation (
    shop_id uuid not null,
    id uuid not null,
    job_id uuid not null,
    number int not null,
    planned jsonb not null,
    machine_kind text generated always as (planned ->> 'machine_kind') stored,
    skill text generated always as (planned ->> 'skill') stored,
    setup_key text generated always as (planned ->> 'setup_key') stored,
    setup_minutes numeric generated always as ((planned ->> 'setup')::numeric) stored,
    run_minutes numeric generated always as ((planned ->> 'run')::numeric) stored,
    state text not null default 'queued' check (state in ('queued', 'started', 'done')),
    version int not null default 1,
    primary key (shop_id, id),
    foreign key (shop_id, job_id) references job on delete cascade,
    constraint planned_is_an_operation check (
        num_nulls(planned ->> 'machine_kind', planned ->> 'skill', planned ->> 'setup_key',
                  planned ->> 'setup', planned ->> 'run') = 0
        and number = (planned ->> 'number')::int)
);
create unique index job_operation_number on job_operation (shop_id, job_id, number);
create index job_operation_waiting on job_operation (shop_id, machine_kind) where state <> 'done';
call make_tenant('job_operation');
call keep_history('job_operation');

-- A casting on the shelf: one that could be a donor.
create table casting (
    shop_id uuid not null references shop,
    id uuid not null,
    number bigint not null,
    variant_id uuid not null,
    ownership text not null check (ownership in ('shop', 'customer')),
    cost numeric not null check (cost >= 0),
    currency text not null,
    condition text not null,
    outcome text check (outcome in ('good', 'failed')),   -- of crack test and measuring; null: not inspected yet
    inspected_on date,
    state text not null default 'on_shelf' check (state in ('on_shelf', 'reserved', 'used', 'scrapped', 'returned')),
    job_id uuid,                                           -- the job it is reserved for or was used in
    version int not null default 1,
    primary key (shop_id, id),
    foreign key (shop_id, variant_id) references variant,
    foreign key (shop_id, job_id) references job,
    check ((outcome is null) = (inspected_on is null)),
    check (state not in ('reserved', 'used') or job_id is not null)
);
create unique index casting_number on casting (shop_id, number);
create index casting_of_variant on casting (shop_id, variant_id) where state = 'on_shelf';
call make_tenant('casting');
call keep_history('casting');

create table enquiry (
    shop_id uuid not null references shop,
    id uuid not null,
    number bigint not null,
    caller text not null,
    contact text not null,
    wanted_variant_id uuid,
    wanted_by date,
    brings_variant_id uuid,
    brings_note text not null,
    repairs text[] not null default '{}',  -- codes of elements the caller's own block needs
    also text[] not null default '{}',     -- codes of elements wanted whichever way the block comes
    note text not null,
    state text not null default 'open' check (state in ('open', 'quoted', 'closed')),
    created_at timestamptz not null default now(),
    created_by uuid,
    version int not null default 1,
    primary key (shop_id, id),
    foreign key (shop_id, wanted_variant_id) references variant,
    foreign key (shop_id, brings_variant_id) references variant,
    foreign key (shop_id, created_by) references person
);
create unique index enquiry_number on enquiry (shop_id, number);
create index enquiry_state on enquiry (shop_id, state, number);
call make_tenant('enquiry');
call keep_history('enquiry');

create table quote (
    shop_id uuid not null,
    id uuid not null,
    number bigint not null,
    enquiry_id uuid not null,
    option_kind text not null,
    title text not null,
    casting_id uuid,               -- the donor it counts on, if it is on the shelf
    valid_until date not null,
    promised_on date,
    currency text not null,
    net numeric not null,
    tax numeric not null,
    gross numeric not null,
    line_count int not null check (line_count > 0),
    created_at timestamptz not null default now(),
    created_by uuid,
    state text not null default 'sent' check (state in ('sent', 'won', 'lost', 'lapsed')),
    decided_at timestamptz,
    lost_why text,
    version int not null default 1,
    primary key (shop_id, id),
    foreign key (shop_id, enquiry_id) references enquiry,
    foreign key (shop_id, casting_id) references casting,
    foreign key (shop_id, created_by) references person,
    check (gross = net + tax),
    check ((state = 'sent') = (decided_at is null)),
    check ((state = 'lost') = (lost_why is not null))
);
create unique index quote_number on quote (shop_id, number);
create index quote_of_enquiry on quote (shop_id, enquiry_id);
create index quote_state on quote (shop_id, state, number);
create index quote_running_out on quote (shop_id, valid_until) where state = 'sent';
call make_tenant('quote');
call keep_history('quote');
revoke delete on quote from borewright_service;

alter table job add foreign key (shop_id, quote_id) references quote;
create unique index job_of_quote on job (shop_id, quote_id);

-- What a quote was made of: a tree, written in preorder.
create table quote_line (
    shop_id uuid not null,
    quote_id uuid not null,
    position int not null,
    parent int,
    label text not null,
    how text not null,
    amount numeric not null,
    primary key (shop_id, quote_id, position),
    foreign key (shop_id, quote_id) references quote,
    foreign key (shop_id, quote_id, parent) references quote_line,
    check (parent < position)
);
call make_tenant('quote_line');
revoke update, delete on quote_line from borewright_service;

-- What a quote stood on: the whole answer as it was on the day, and the route it becomes when it is won.
create table quote_basis (
    shop_id uuid not null,
    quote_id uuid not null,
    answer jsonb not null,
    route jsonb not null,
    primary key (shop_id, quote_id),
    foreign key (shop_id, quote_id) references quote
);
call make_tenant('quote_basis');
revoke update, delete on quote_basis from borewright_service;

-- A quote is frozen when it is given. All that may still happen to it is one decision.
create function freeze_quote() returns trigger language plpgsql as $$
declare
    free text[] := array['state', 'decided_at', 'lost_why', 'version'];
begin
    if tg_op = 'DELETE' then
        raise exception 'quote % stays on record', old.number using errcode = 'restrict_violation';
    elsif old.state <> 'sent' then
        raise exception 'quote % is already %', old.number, old.state using errcode = 'restrict_violation';
    elsif (to_jsonb(new) - free) is distinct from (to_jsonb(old) - free) then
        raise exception 'quote % was given as it stands', old.number using errcode = 'restrict_violation';
    end if;
    return new;
end
$$;
create trigger freeze_quote before update or delete on quote for each row execute function freeze_quote();

-- The lines and the basis are written with the quote. The count on the quote leaves no room for a later line.
create function freeze_quote_part() returns trigger language plpgsql as $$
begin
    if tg_op = 'INSERT' then
        if new.position >= (select line_count from quote where shop_id = new.shop_id and id = new.quote_id) then
            raise exception 'a quote has no room for later lines' using errcode = 'restrict_violation';
        end if;
        return new;
    end if;
    raise exception 'a quote was given as it stands' using errcode = 'restrict_violation';
end
$$;
create trigger freeze_quote_line before insert or update or delete on quote_line
    for each row execute function freeze_quote_part();
create trigger freeze_quote_basis before update or delete on quote_basis
    for each row execute function freeze_quote_part();
