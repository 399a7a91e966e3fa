-- Checks as they were made, holds when one fails, what scrap costs, and whom to tell.

-- Operations that were not in the job's route at first: rework, and what is done again after scrap.
alter table job_operation
    add added boolean not null default false,
    add again_for int;                         -- number of the operation it is done instead of, the first being lost

-- What a person measured or gauged. Only ever added to: a second measurement is a second row, and the latest counts.
create table check_result (
    shop_id uuid not null,
    id uuid not null,                          -- the idempotency key, made where it was entered
    operation_id uuid not null,
    place int not null check (place >= 0),     -- which of the operation's checks
    what text not null,
    limits text not null,
    instrument text not null,
    lower numeric,
    upper numeric,
    unit text,
    measured numeric,                          -- null: gauged go or no-go, or judged by eye
    passed boolean not null,
    note text not null,
    person_id uuid not null,                   -- who checked
    entered_by uuid not null,                  -- who wrote it down
    device_id uuid,
    at timestamptz not null,
    device_at timestamptz not null,
    received_at timestamptz not null,
    sequence bigint generated always as identity,
    primary key (shop_id, id),
    foreign key (shop_id, operation_id) references job_operation,
    foreign key (shop_id, person_id) references person,
    foreign key (shop_id, entered_by) references person,
    foreign key (shop_id, device_id) references device,
    check (measured is null or num_nonnulls(lower, upper) > 0),
    check (measured is null
           or passed = (measured >= coalesce(lower, measured) and measured <= coalesce(upper, measured)))
);
create index check_result_of_operation on check_result (shop_id, operation_id, place, sequence);
call make_tenant('check_result');
revoke update, delete on check_result from borewright_service;
create trigger append_only before update or delete on check_result for each row execute function refuse_rewriting();
create trigger never_emptied before truncate on check_result for each statement execute function refuse_rewriting();

-- A job stopped by a check that failed, until somebody decides.
create table quality_hold (
    shop_id uuid not null,
    id uuid not null,                          -- that of the check result that opened it
    job_id uuid not null,
    operation_id uuid not null,
    why text not null,
    opened_at timestamptz not null,
    opened_by uuid not null,
    decision text check (decision in ('measured_again', 'rework', 'concession', 'scrap')),
    decided_at timestamptz,
    decided_by uuid,
    said_by text,                              -- who allowed a concession
    note text,
    scrapped_casting_id uuid,
    new_casting_id uuid,
    enquiry_id uuid,                           -- the one it is quoted anew in
    version int not null default 1,
    primary key (shop_id, id),
    foreign key (shop_id, id) references check_result,
    foreign key (shop_id, job_id) references job,
    foreign key (shop_id, operation_id) references job_operation,
    foreign key (shop_id, opened_by) references person,
    foreign key (shop_id, decided_by) references person,
    foreign key (shop_id, scrapped_casting_id) references casting,
    foreign key (shop_id, new_casting_id) references casting,
    foreign key (shop_id, enquiry_id) references enquiry,
    check (num_nonnulls(decision, decided_at, decided_by, note) in (0, 4)),
    check (decision is distinct from 'concession' or said_by is not null)
);
create index quality_hold_open on quality_hold (shop_id, opened_at) where decision is null;
create index quality_hold_of_job on quality_hold (shop_id, job_id);
call make_tenant('quality_hold');
call keep_history('quality_hold');

-- Money a job bears beyond its hours: a donor that turned out to be scrap.
create table job_cost (
    shop_id uuid not null,
    id uuid not null,
    job_id uuid not null,
    hold_id uuid,
    what text not null,
    amount numeric not null check (amount >= 0),
    currency text not null,
    at timestamptz not null,
    person_id uuid,
    primary key (shop_id, id),
    foreign key (shop_id, job_id) references job,
    foreign key (shop_id, hold_id) references quality_hold,
    foreign key (shop_id, person_id) references person
);
create index job_cost_of_job on job_cost (shop_id, job_id);
call make_tenant('job_cost');
call keep_history('job_cost');
revoke update, delete on job_cost from borewright_service;

-- A customer who must hear something.
create table to_tell (
    shop_id uuid not null,
    id uuid not null,
    job_id uuid not null,
    why text not null,
    since timestamptz not null,
    told_at timestamptz,
    told_by uuid,
    said text,
    primary key (shop_id, id),
    foreign key (shop_id, job_id) references job,
    foreign key (shop_id, told_by) references person,
    check (num_nonnulls(told_at, told_by, said) in (0, 3))
);
create index to_tell_open on to_tell (shop_id, since) where told_at is null;
call make_tenant('to_tell');
call keep_history('to_tell');
