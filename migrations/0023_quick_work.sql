-- Work that a caller wants without a variant: picked from the standard times, for a part of the caller's own.

create table quick_work (
    shop_id uuid not null,
    id uuid not null,                     -- the enquiry
    part text not null default '',        -- what is worked on
    codes text[] not null default '{}',   -- elements, each with how many times beside it
    counts int[] not null default '{}',
    cylinders int check (cylinders > 0),  -- of the part, for work that is timed per cylinder
    mains int check (mains > 0),          -- of the part, for work that is timed per main bearing
    arrives_on date,                      -- the day the customer brings the part; null: it is here
    version int not null default 1,
    primary key (shop_id, id),
    foreign key (shop_id, id) references enquiry on delete cascade,
    check (cardinality(codes) = cardinality(counts))
);
call make_tenant('quick_work');
call keep_history('quick_work');
