-- What inspections found of castings is counted by variant for every answer. Most castings are long used, and an answer asks for
-- every variant of a pattern, so it is read from an index alone.
create index casting_inspected on casting (shop_id, variant_id, outcome) include (sighting_id)
    where outcome is not null and ownership = 'shop';

-- The same as before, and a query is not compiled: that takes longer than running any of ours does.
create or replace function enter_shop(shop uuid, person text) returns void language plpgsql as $$
declare
    patience text := current_setting('lock_timeout');
    elsewhere text;
begin
    perform set_config('borewright.shop_id', shop::text, true), set_config('borewright.person_id', person, true),
            set_config('jit', 'off', true);
    if not pg_try_advisory_xact_lock_shared(hashtextextended('shop ' || shop, 0)) then
        perform set_config('lock_timeout', '5s', true);
        perform pg_advisory_xact_lock_shared(hashtextextended('shop ' || shop, 0));
        perform set_config('lock_timeout', patience, true);
    end if;
    -- A statement of its own, so that it sees what was done while the lock was waited for.
    select cluster into elsewhere from shop_directory where shop_id = shop and cluster <> '';
    if found then
        raise exception 'the shop has moved to the cluster %', elsewhere using errcode = 'cannot_connect_now';
    end if;
end
$$;
