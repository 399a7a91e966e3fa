-- The plan: what was decided by hand, what the plan is made from, and the timetable that came out.

-- Where and by whom an operation was begun, for planning what is left of it.
alter table job_operation
    add started_at timestamptz,
    add machine_id uuid,
    add person_id uuid,
    add foreign key (shop_id, machine_id) references machine,
    add foreign key (shop_id, person_id) references person;

-- A stretch in which work is done whatever shifts and holidays say. A person's opens the machines too.
create table overtime (
    shop_id uuid not null references shop,
    id uuid not null,
    machine_id uuid,
    person_id uuid,
    starts_at timestamptz not null,
    ends_at timestamptz not null,
    why text not null,
    version int not null default 1,
    primary key (shop_id, id),
    foreign key (shop_id, machine_id) references machine on delete cascade,
    foreign key (shop_id, person_id) references person on delete cascade,
    check (num_nonnulls(machine_id, person_id) <= 1),
    check (ends_at > starts_at and ends_at <= starts_at + interval '31 days')
);
create index overtime_by_end on overtime (shop_id, ends_at);
call make_tenant('overtime');
call keep_history('overtime');

-- Decisions by hand.

-- This operation on this machine, by this person, at this time; what is null is left to the plan.
create table pin (
    shop_id uuid not null,
    id uuid not null, -- the operation's
    machine_id uuid,
    person_id uuid,
    starts_at timestamptz,
    version int not null default 1,
    primary key (shop_id, id),
    foreign key (shop_id, id) references job_operation on delete cascade,
    foreign key (shop_id, machine_id) references machine on delete cascade,
    foreign key (shop_id, person_id) references person on delete cascade,
    check (num_nonnulls(machine_id, person_id, starts_at) > 0)
);
call make_tenant('pin');
call keep_history('pin');

-- This job is not planned until somebody lets it go on.
create table job_hold (
    shop_id uuid not null,
    id uuid not null, -- the job's
    reason text not null check (reason <> ''),
    since timestamptz not null default now(),
    version int not null default 1,
    primary key (shop_id, id),
    foreign key (shop_id, id) references job on delete cascade
);
call make_tenant('job_hold');
call keep_history('job_hold');

-- This job before all others; among several the lowest place comes first.
create table job_first (
    shop_id uuid not null,
    id uuid not null, -- the job's
    place bigint not null,
    version int not null default 1,
    primary key (shop_id, id),
    foreign key (shop_id, id) references job on delete cascade
);
call make_tenant('job_first');
call keep_history('job_first');

-- A quote that holds its place in the plan until the end of a day, or until it is decided.
create table held_slot (
    shop_id uuid not null,
    id uuid not null, -- the quote's
    until date not null,
    version int not null default 1,
    primary key (shop_id, id),
    foreign key (shop_id, id) references quote
);
create index held_slot_until on held_slot (shop_id, until);
call make_tenant('held_slot');
call keep_history('held_slot');

-- The plan: one a shop, the newest.
create table plan (
    shop_id uuid primary key references shop on delete cascade,
    floor_version bigint not null,
    origin timestamptz not null,
    made_at timestamptz not null default now(),
    took_ms bigint not null,
    moves bigint not null,
    improved boolean not null, -- false: the first usable one, made at once
    broken bigint not null,
    lateness bigint not null,
    setup bigint not null,
    in_progress bigint not null,
    makespan bigint not null
);
call make_tenant('plan');

-- Its operations. Keys of operations and jobs are those of the moment it was made, so they point at nothing.
create table plan_slot (
    shop_id uuid not null references plan on delete cascade,
    operation_id uuid not null,
    job_id uuid not null,
    machine_id uuid,
    person_id uuid,
    starts_at timestamptz not null,
    setup_until timestamptz not null,
    attended_until timestamptz not null,
    ends_at timestamptz not null,
    setup_minutes bigint not null,
    slack_minutes bigint,
    state text not null check (state in ('planned', 'pinned', 'started', 'half_done')),
    primary key (shop_id, operation_id)
);
call make_tenant('plan_slot');

-- Its jobs and held slots.
create table plan_job (
    shop_id uuid not null references plan on delete cascade,
    job_id uuid not null,
    ready_at timestamptz not null,
    slack_minutes bigint,
    chance double precision check (chance between 0 and 1),
    sure_by timestamptz,
    primary key (shop_id, job_id)
);
call make_tenant('plan_job');
