-- What was measured on a casting in one table: cylinders, main line, deck; and the sizes it is held against.

-- Sizes and limits of the castings of a pattern, one row each, under the pattern's own key. The figures are read and
-- written whole (castings::measured::Sizes).
create table pattern_sizes (
    shop_id uuid not null references shop,
    id uuid not null,
    sizes jsonb not null,
    version int not null default 1,
    primary key (shop_id, id),
    foreign key (shop_id, id) references pattern on delete cascade
);
call make_tenant('pattern_sizes');
call keep_history('pattern_sizes');

-- Appended: measuring again is another record. The sizes are those that held when it was made, so that what it said then
-- can be read again.
create table measured_record (
    shop_id uuid not null references shop,
    id uuid not null,                          -- made with the form, so that one sent twice is kept once
    casting_id uuid not null,
    job_id uuid,                               -- the job it is a check of, or whose work was measured
    purpose text not null check (purpose in ('inspection', 'finished')),
    readings jsonb not null,
    sizes jsonb not null,
    verdict text not null check (verdict in ('within', 'outside', 'open')),
    instrument text not null,
    note text not null,
    at timestamptz not null,
    person_id uuid,
    primary key (shop_id, id),
    foreign key (shop_id, casting_id) references casting on delete cascade,
    foreign key (shop_id, job_id) references job,
    foreign key (shop_id, person_id) references person
);
create index measured_record_of_casting on measured_record (shop_id, casting_id, at);
create index measured_record_of_job on measured_record (shop_id, job_id, at) where job_id is not null;
call make_tenant('measured_record');
revoke update on measured_record from borewright_service;
