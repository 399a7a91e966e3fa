-- Stock, reusable tooling, and what a job needs before it, or one of its operations, can start.

create table stock_item (
    shop_id uuid not null references shop,
    id uuid not null,
    name text not null,
    unit text not null,
    kept_at text not null default '',        -- where it lies
    supplier text not null default '',
    minimum numeric check (minimum > 0),     -- below this it is to be ordered; null: bought when a job asks
    on_hand numeric not null default 0,      -- the sum of its movements, kept by their trigger
    active boolean not null default true,
    version int not null default 1,
    primary key (shop_id, id),
    constraint stock_not_below_nothing check (on_hand >= 0)
);
create unique index stock_item_name on stock_item (shop_id, lower(name));
call make_tenant('stock_item');
call keep_history('stock_item');

-- Goods on order. What has come of it is the sum of the movements that name it.
create table stock_order (
    shop_id uuid not null references shop,
    id uuid not null,
    item_id uuid not null,
    quantity numeric not null check (quantity > 0),
    supplier text not null,
    ordered_on date not null,
    expected_on date,                        -- null: nobody has said when
    closed boolean not null default false,   -- all of it has come, or no more will
    version int not null default 1,
    primary key (shop_id, id),
    foreign key (shop_id, item_id) references stock_item,
    check (expected_on >= ordered_on)
);
create index stock_order_open on stock_order (shop_id, item_id, expected_on) where not closed;
call make_tenant('stock_order');
call keep_history('stock_order');

-- Tooling that comes back: a set of temporary bolts, a mandrel. One row is one set.
create table tool (
    shop_id uuid not null references shop,
    id uuid not null,
    name text not null,
    kept_at text not null default '',
    note text not null default '',
    active boolean not null default true,
    version int not null default 1,
    primary key (shop_id, id)
);
create unique index tool_name on tool (shop_id, lower(name));
call make_tenant('tool');
call keep_history('tool');

create table tool_loan (
    shop_id uuid not null references shop,
    id uuid not null,
    tool_id uuid not null,
    job_id uuid not null,
    out_at timestamptz not null default now(),
    out_by uuid,
    expected_on date,                        -- back in the shop; null: when the job that has it is due
    back_at timestamptz,
    back_by uuid,
    primary key (shop_id, id),
    foreign key (shop_id, tool_id) references tool,
    foreign key (shop_id, job_id) references job,
    foreign key (shop_id, out_by) references person,
    foreign key (shop_id, back_by) references person,
    check (back_at >= out_at)
);
-- Out with one job at a time.
create unique index tool_out_once on tool_loan (shop_id, tool_id) where back_at is null;
create index tool_loan_of_job on tool_loan (shop_id, job_id);
call make_tenant('tool_loan');
call keep_history('tool_loan');

create unique index job_operation_of_job on job_operation (shop_id, job_id, id);

create table need (
    shop_id uuid not null references shop,
    id uuid not null,
    job_id uuid not null,
    operation_id uuid,                       -- needed before this operation; null: before the job can start
    kind text not null check (kind in ('donor', 'part', 'material', 'tool')),
    what text not null,
    quantity numeric not null check (quantity > 0),
    unit text not null,
    casting_id uuid,                         -- a donor of the shelf
    item_id uuid,                            -- a part or material that is kept in stock
    tool_id uuid,                            -- reusable tooling
    -- here: it has come, or was taken from stock. Otherwise casting, item or tool, where there is one, say how it stands.
    state text not null default 'wanted' check (state in ('wanted', 'ordered', 'here')),
    expected_on date,
    version int not null default 1,
    primary key (shop_id, id),
    foreign key (shop_id, job_id) references job on delete cascade,
    foreign key (shop_id, job_id, operation_id) references job_operation (shop_id, job_id, id)
        on delete set null (operation_id),
    foreign key (shop_id, casting_id) references casting,
    foreign key (shop_id, item_id) references stock_item,
    foreign key (shop_id, tool_id) references tool,
    check (casting_id is null or kind = 'donor'),
    check (item_id is null or kind in ('part', 'material')),
    check (tool_id is null or kind = 'tool'),
    check (expected_on is null or state = 'ordered')
);
create index need_of_job on need (shop_id, job_id);
create index need_of_item on need (shop_id, item_id) where state = 'wanted';
call make_tenant('need');
call keep_history('need');

-- Every change of what is on hand, with its reason. Appended, never edited: a mistake is another movement.
create table stock_movement (
    shop_id uuid not null references shop,
    id uuid not null,
    item_id uuid not null,
    quantity numeric not null check (quantity <> 0),
    reason text not null check (reason in ('received', 'issued', 'returned', 'counted', 'written_off')),
    order_id uuid,
    need_id uuid,
    note text not null default '',
    at timestamptz not null default now(),
    person_id uuid,
    primary key (shop_id, id),
    foreign key (shop_id, item_id) references stock_item,
    foreign key (shop_id, order_id) references stock_order,
    foreign key (shop_id, need_id) references need,
    foreign key (shop_id, person_id) references person,
    check (reason not in ('issued', 'written_off') or quantity < 0),
    check (reason not in ('received', 'returned') or quantity > 0),
    check (reason not in ('counted', 'written_off') or note <> '')
);
create index stock_movement_of_item on stock_movement (shop_id, item_id, id);
create index stock_movement_of_order on stock_movement (shop_id, order_id) where order_id is not null;
call make_tenant('stock_movement');
revoke update, delete on stock_movement from borewright_service;

create function keep_on_hand() returns trigger language plpgsql as $$
begin
    if tg_op <> 'INSERT' then
        raise exception 'a movement of stock stays on record' using errcode = 'restrict_violation';
    end if;
    update stock_item set on_hand = on_hand + new.quantity where shop_id = new.shop_id and id = new.item_id;
    return new;
end
$$;
create trigger keep_on_hand before insert or update or delete on stock_movement
    for each row execute function keep_on_hand();
