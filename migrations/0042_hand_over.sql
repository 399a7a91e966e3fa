-- Work that was begun by one person is gone on with by another. It holds until the work is booked by somebody else again,
-- or is done.

create table hand_over (
    shop_id uuid not null,
    id uuid not null, -- the operation's
    person_id uuid not null,
    version int not null default 1,
    primary key (shop_id, id),
    foreign key (shop_id, id) references job_operation on delete cascade,
    foreign key (shop_id, person_id) references person on delete cascade
);
call make_tenant('hand_over');
call keep_history('hand_over');
call plans_rest_on('hand_over');
