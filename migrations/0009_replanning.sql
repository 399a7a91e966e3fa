-- When a plan must be made again: every change of what it rests on is counted, and asks for a run of the planner.

-- Counts changes of what plans are made from, at most once a transaction.
create table floor_state (
    shop_id uuid primary key, -- counted for a shop that is being taken out, too
    version bigint not null,
    changed_at timestamptz not null default now(),
    changed_by xid8 not null default pg_current_xact_id()
);
call make_tenant('floor_state');

-- Asks for a run: one a shop waits at most, however many ask, and runs of one shop come one after another. The queue
-- is the worker library's, in its own schema.
create function ask_for_a_plan(shop uuid, after interval default '0') returns void language plpgsql as $$
begin
    perform graphile_worker.add_job(
        'replan', json_build_object('shop_id', shop), queue_name := 'shop ' || shop, run_at := now() + after,
        job_key := 'replan ' || shop, job_key_mode := 'preserve_run_at');
end
$$;

-- Fires at the end of the transaction, so that its row is locked last and never long, whatever was locked before.
create function floor_changed() returns trigger language plpgsql as $$
declare
    shop uuid := coalesce(new.shop_id, old.shop_id);
    first_time boolean;
begin
    if tg_op = 'UPDATE' and old is not distinct from new then
        return null;
    end if;
    insert into floor_state as state (shop_id, version) values (shop, 1)
    on conflict (shop_id) do update
        set version = state.version + 1, changed_at = now(), changed_by = pg_current_xact_id()
        where state.changed_by <> pg_current_xact_id()
    returning true into first_time;
    if first_time then
        -- A moment later, so that a burst of changes is one run.
        perform ask_for_a_plan(shop, '200 milliseconds');
    end if;
    return null;
end
$$;

-- Makes a table one that plans rest on.
create procedure plans_rest_on(t regclass) language plpgsql as $$
begin
    execute format('create constraint trigger floor_changed after insert or update or delete on %s
                    deferrable initially deferred for each row execute function floor_changed()', t);
end
$$;

call plans_rest_on('shop');
call plans_rest_on('machine');
call plans_rest_on('person');
call plans_rest_on('shift');
call plans_rest_on('holiday');
call plans_rest_on('stop');
call plans_rest_on('overtime');
call plans_rest_on('job');
call plans_rest_on('job_operation');
call plans_rest_on('casting');
call plans_rest_on('need');
call plans_rest_on('stock_item');
call plans_rest_on('stock_order');
call plans_rest_on('tool');
call plans_rest_on('tool_loan');
call plans_rest_on('pin');
call plans_rest_on('job_hold');
call plans_rest_on('job_first');
call plans_rest_on('held_slot');

-- A run of the planner under way, and how far it is.
create table plan_run (
    shop_id uuid primary key references shop on delete cascade,
    run_id uuid not null,
    floor_version bigint not null,
    started_at timestamptz not null default now(),
    seen_at timestamptz not null default now(),
    share double precision not null default 0 check (share between 0 and 1),
    cancelled boolean not null default false
);
call make_tenant('plan_run');
