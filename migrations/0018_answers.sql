-- Terms of sale, what a customer sets and says on the phone, and every answer as it was read out.

-- The starting values are common practice, no source.
alter table shop
    add week_of_waiting numeric not null default 100 check (week_of_waiting >= 0),
    add search_fee numeric not null default 0 check (search_fee >= 0),
    add handling_percent numeric not null default 15 check (handling_percent between 0 and 100),
    add least_margin_percent numeric not null default 5 check (least_margin_percent between 0 and 95),
    add overtime_percent numeric not null default 50 check (overtime_percent between 0 and 300),
    add answer_keeps_minutes int not null default 60 check (answer_keeps_minutes between 5 and 1440);

alter table enquiry
    add search_most numeric check (search_most > 0),
    add search_ends_on date,
    add purpose text not null default 'not_said'
        check (purpose in ('not_said', 'original', 'working', 'competition')),
    add condition text not null default 'not_said'
        check (condition in ('not_said', 'sound', 'worn', 'welded', 'cracked_jacket', 'cracked_deck',
                             'cracked_cylinder', 'cracked_main_web', 'cracked_elsewhere')),
    drop constraint enquiry_state_check,
    add check (state in ('open', 'quoted', 'won', 'closed'));

-- What the shop does about a crack, by where it is: the elements of work, or why not.
create table crack_repair (
    shop_id uuid not null references shop,
    id uuid not null,
    place text not null check (place in ('jacket', 'deck', 'cylinder', 'main_web', 'elsewhere')),
    repaired boolean not null,
    elements text[] not null default '{}',
    say text not null,
    version int not null default 1,
    primary key (shop_id, id)
);
create unique index crack_repair_place on crack_repair (shop_id, place);
call make_tenant('crack_repair');
call keep_history('crack_repair');

-- The answers that stood on a screen, or were sent to a program: a quote is made from one of them. They are cleared away
-- after some days; a quote keeps its own copy.
create table answer (
    shop_id uuid not null references shop,
    id uuid not null,
    enquiry_id uuid not null,
    at timestamptz not null,
    asked jsonb not null,             -- what the customer had said
    floor_version bigint not null,    -- the plan its dates are from
    plan_made_at timestamptz,
    figures_hash bytea not null,
    answer jsonb not null,
    primary key (shop_id, id),
    foreign key (shop_id, enquiry_id) references enquiry
);
create index answer_of_enquiry on answer (shop_id, enquiry_id, at);
create index answer_by_age on answer (shop_id, at);
call make_tenant('answer');

-- The form a quote was given with: the same form sent twice makes one quote. And the answer it was made from.
alter table quote
    add request_key uuid,
    add terms jsonb,                  -- null: a fixed price
    add said text not null default '';
create unique index quote_request on quote (shop_id, request_key);
