-- Parts made in the shop: how an item of stock is made, what a job makes of it, and what came out.

create table making (
    shop_id uuid not null references shop,
    id uuid not null,                          -- the item of stock
    steps jsonb not null,                      -- its operations in order: work, kind of machine, skill, setup, minutes a piece
    materials jsonb not null,                  -- what one piece uses up
    version int not null default 1,
    primary key (shop_id, id),
    foreign key (shop_id, id) references stock_item,
    check (jsonb_array_length(steps) > 0)
);
call make_tenant('making');
call keep_history('making');

-- Pieces that a job makes: for its own needs, which name the batch, and for the shelf.
create table made_batch (
    shop_id uuid not null references shop,
    id uuid not null,
    item_id uuid not null,
    job_id uuid not null,
    operation_id uuid,                         -- the operation that finishes it; null once that was left out of the route
    pieces int not null check (pieces > 0),
    came numeric check (came >= 0),            -- good pieces that came out; null until somebody has counted
    being_made boolean not null generated always as (came is null and operation_id is not null) stored,
    version int not null default 1,
    primary key (shop_id, id),
    foreign key (shop_id, item_id) references stock_item,
    foreign key (shop_id, job_id) references job on delete cascade,
    foreign key (shop_id, job_id, operation_id) references job_operation (shop_id, job_id, id)
        on delete set null (operation_id)
);
create index made_batch_of_job on made_batch (shop_id, job_id);
create index made_batch_of_item on made_batch (shop_id, item_id) where being_made;
call make_tenant('made_batch');
call keep_history('made_batch');
call plans_rest_on('made_batch');

-- The batch that a need of the same job waits for. While that is being made, the route holds the need back, not the stock.
alter table need add batch_id uuid,
    add foreign key (shop_id, batch_id) references made_batch on delete set null (batch_id);
create index need_of_batch on need (shop_id, batch_id) where batch_id is not null;

alter table stock_movement add batch_id uuid,
    add foreign key (shop_id, batch_id) references made_batch,
    drop constraint stock_movement_reason_check,
    add constraint stock_movement_reason_check
        check (reason in ('received', 'issued', 'returned', 'counted', 'written_off', 'made')),
    add check (reason <> 'made' or (quantity > 0 and batch_id is not null));
