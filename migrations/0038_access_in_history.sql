-- Who may come in, and who came in, is in the history; and the history is written by the database alone.

-- A session has a key that can be named without its token, and says where it was begun.
alter table session add column id uuid not null default gen_random_uuid(),
    add column address text not null default '',
    add column browser text not null default '';
create unique index session_key on session (shop_id, id);

-- Writes the history with the rights of its owner, because the service has none to. Secrets are left out, but that they
-- changed is kept; what changes with every look at a page is left out too.
create or replace function record_history() returns trigger
    language plpgsql security definer set search_path = public, pg_temp as $$
declare
    secrets constant text[] := array['password_hash', 'pin_hash', 'token_hash', 'code_hash', 'secret', 'csrf_token'];
    noise constant text[] := array['last_seen_at', 'read_at', 'used_at', 'pin_failures', 'last_step'];
    old_row jsonb := case when tg_op <> 'INSERT' then to_jsonb(old) - noise end;
    new_row jsonb := case when tg_op <> 'DELETE' then to_jsonb(new) - noise end;
    row_now jsonb := coalesce(new_row, old_row);
    secret text;
begin
    if old_row is distinct from new_row then
        foreach secret in array secrets loop
            if old_row -> secret is distinct from new_row -> secret and tg_op = 'UPDATE' then
                old_row := jsonb_set(old_row, array[secret], '"not shown"');
                new_row := jsonb_set(new_row, array[secret], '"changed"');
            else
                old_row := old_row - secret;
                new_row := new_row - secret;
            end if;
        end loop;
        insert into history (shop_id, person_id, table_name, row_id, action, before, after)
        values ((row_now ->> 'shop_id')::uuid, current_person(), tg_table_name,
                coalesce(row_now ->> 'id', case when tg_table_name in ('bench_pin', 'second_factor') then row_now ->> 'person_id' end,
                         row_now ->> 'shop_id')::uuid,
                lower(tg_op), old_row, new_row);
    end if;
    return null;
end
$$;
revoke execute on function record_history() from public;

-- The time of an entry is that of its transaction. What was before a shop began here may be entered with its own time.
create function stamp_history() returns trigger
    language plpgsql security definer set search_path = public, pg_temp as $$
begin
    if new.at is distinct from now() and new.at >= coalesce(
        (select min(at) from history where shop_id = new.shop_id and table_name = 'shop'), '-infinity')
    then
        new.at := now();
    end if;
    return new;
end
$$;
create trigger stamped before insert on history for each row execute function stamp_history();
create index history_began on history (shop_id, at) where table_name = 'shop';

-- Enters what was before the shop began here.
create function enter_earlier_history(t text, r uuid, at timestamptz, was jsonb, became jsonb) returns void
    language plpgsql security definer set search_path = public, pg_temp as $$
begin
    if at >= (select min(h.at) from history h where h.shop_id = current_shop() and h.table_name = 'shop') then
        raise exception 'the history from when the shop began here is not entered by hand' using errcode = 'restrict_violation';
    end if;
    insert into history (shop_id, at, person_id, table_name, row_id, action, before, after)
    values (current_shop(), at, current_person(), t, r, 'update', was, became);
end
$$;
revoke execute on function enter_earlier_history(text, uuid, timestamptz, jsonb, jsonb) from public;
grant execute on function enter_earlier_history(text, uuid, timestamptz, jsonb, jsonb) to borewright_service;

revoke insert, update, delete on history from borewright_service;
create function refuse_rewriting_history() returns trigger language plpgsql as $$
begin
    raise exception 'the history is never changed or deleted' using errcode = 'restrict_violation';
end
$$;
create trigger append_only before update or delete on history for each row execute function refuse_rewriting_history();
create trigger never_emptied before truncate on history for each statement execute function refuse_rewriting_history();

call keep_history('person');
call keep_history('session');
call keep_history('device');
call keep_history('bench_pin');
call keep_history('sign_on');
call keep_history('feed');
