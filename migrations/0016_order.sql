-- This operation not before that one is done, though nothing in their jobs asks for it: the order somebody chose, to
-- share a setup or to help a promise.

create table put_behind (
    shop_id uuid not null,
    id uuid not null,        -- the operation
    behind_id uuid not null, -- the one that goes before it
    version int not null default 1,
    primary key (shop_id, id, behind_id),
    foreign key (shop_id, id) references job_operation on delete cascade,
    foreign key (shop_id, behind_id) references job_operation on delete cascade,
    check (id <> behind_id)
);
create index put_behind_other on put_behind (shop_id, behind_id);
call make_tenant('put_behind');
call keep_history('put_behind');
call plans_rest_on('put_behind');
