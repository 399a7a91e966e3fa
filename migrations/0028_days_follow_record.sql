-- Promised days may follow the record: by how many futures the next promise is given so that as many hold as is said.

alter table shop add days_follow_record boolean not null default false;

-- What the record asks for at the shop's confidence, while days follow it. Learned anew with every run of the planner, so it
-- is no edit of the settings and has no history.
create table day_share (
    shop_id uuid primary key references shop,
    confidence_percent int not null check (confidence_percent between 0 and 100),
    share numeric not null check (share > 0 and share < 1) -- of the futures
);
call make_tenant('day_share');
