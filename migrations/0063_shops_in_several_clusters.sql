-- Shops may lie in several clusters. The directory says in which: '' is this one, anything else the name of another, and then
-- nothing of the shop is read or written here.
alter table shop_directory add column cluster text not null default ''
    check (cluster = '' or cluster ~ '^[a-z][a-z0-9-]{0,39}$');

-- Begins the work of a transaction for a shop: sets shop and person, for the transaction alone, and waits while the shop is
-- being moved. Whoever moves it holds the same lock alone.
create function enter_shop(shop uuid, person text) returns void language plpgsql as $$
declare
    patience text := current_setting('lock_timeout');
    elsewhere text;
begin
    perform set_config('borewright.shop_id', shop::text, true), set_config('borewright.person_id', person, true);
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
