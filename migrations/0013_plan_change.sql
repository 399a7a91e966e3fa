-- Changes of the plan by hand: what was done, what gives it back, and where everything stood before.

create table plan_change (
    shop_id uuid not null references shop,
    id uuid not null,
    words text not null,             -- what was done
    sentence text not null,          -- what was said to come of it when it was taken
    change jsonb not null,
    undo jsonb not null,             -- the change that gives the floor back
    places jsonb not null,           -- machine, person and start of every operation before
    taken_at timestamptz not null default now(),
    taken_by uuid,
    undoes uuid,                     -- the change this one takes back
    primary key (shop_id, id),
    foreign key (shop_id, taken_by) references person,
    foreign key (shop_id, undoes) references plan_change
);
create unique index plan_change_undone_once on plan_change (shop_id, undoes);
create index plan_change_by_time on plan_change (shop_id, taken_at);
call make_tenant('plan_change');
revoke update, delete on plan_change from borewright_service;
