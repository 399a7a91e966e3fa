-- What is promised may follow the record: by how many futures the next day, or the next price, is given so that as many hold
-- as is said.

alter table shop
    add days_follow_record boolean not null default false,
    add prices_follow_record boolean not null default false;

-- What the record asks for at the shop's confidence, while they follow it. Learned anew with the runs of the planner, so it
-- is no edit of the settings and has no history.
create table record_share (
    shop_id uuid not null references shop,
    kind text not null check (kind in ('day', 'cost')),
    confidence_percent int not null check (confidence_percent between 0 and 100),
    share numeric not null check (share > 0 and share < 1), -- of the futures
    outcomes bigint not null, -- jobs that were ready or past their day when it was learned: until that changes, so it stays
    primary key (shop_id, kind)
);
call make_tenant('record_share');
