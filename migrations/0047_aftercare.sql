-- What goes out with a job for whoever fits it, and what comes back: calls for help and complaints, with cause, who paid and
-- what it cost.

-- What a fitter must know, by the code of the element of work; empty for every job.
create table fitting_text (
    shop_id uuid not null references shop,
    id uuid not null,
    code text not null,
    heading text not null,
    fit text not null,                         -- when fitting: what to nip up, what must not enter
    first_run text not null,                   -- what to look at after the first run
    version int not null default 1,
    primary key (shop_id, id)
);
create unique index fitting_text_code on fitting_text (shop_id, code);
call make_tenant('fitting_text');
call keep_history('fitting_text');

create table aftercare (
    shop_id uuid not null references shop,
    id uuid not null,
    job_id uuid not null,
    kind text not null check (kind in ('help', 'complaint')),
    came_on date not null,
    said text not null,                        -- what the customer said
    code text not null,                        -- the element of work it is about; empty where nobody knows
    cause text not null check (cause in ('not_known', 'our_work', 'bought_part', 'fitting', 'use', 'elsewhere')),
    done text not null,                        -- what was done about it
    paid_by text not null check (paid_by in ('nobody', 'shop', 'customer', 'supplier')),
    cost numeric not null check (cost >= 0),
    currency text not null,
    settled_on date,
    version int not null default 1,
    primary key (shop_id, id),
    foreign key (shop_id, job_id) references job,
    check (cost = 0 or paid_by <> 'nobody')
);
create index aftercare_of_job on aftercare (shop_id, job_id);
create index aftercare_by_day on aftercare (shop_id, came_on);
call make_tenant('aftercare');
call keep_history('aftercare');
