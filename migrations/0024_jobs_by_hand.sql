-- Jobs entered and changed by hand: what was agreed for one that has no quote, and what was done to it and why.

alter table job
    add value numeric check (value >= 0),  -- agreed before tax, where no quote says it
    add value_currency text,
    add check (num_nulls(value, value_currency) in (0, 2));

-- Appended by the program, never edited. The history says what changed; this says why.
create table job_step (
    shop_id uuid not null,
    id uuid not null,
    job_id uuid not null,
    at timestamptz not null default now(),
    person_id uuid,
    kind text not null check (kind in ('entered', 'changed', 'rescheduled', 'closed', 'cancelled', 'reopened')),
    reason text not null default '',
    primary key (shop_id, id),
    foreign key (shop_id, job_id) references job on delete cascade,
    foreign key (shop_id, person_id) references person
);
create index job_step_of_job on job_step (shop_id, job_id, id);
call make_tenant('job_step');
revoke update, delete on job_step from borewright_service;
