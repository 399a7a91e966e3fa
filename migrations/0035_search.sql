-- Search within a shop: the words of jobs, quotes, enquiries, customers, castings, patterns, variants, items and tooling.
--
-- Row-level security lets only leakproof operators use an index on a tenant table, and neither full text (@@) nor trigrams
-- (%) are. So the words stand in a table of their own, where equality and ranges of text, which are leakproof, find them.
-- The shop's vocabulary is small: parts of words and likely spellings are looked up in it first, by trigrams.
-- pg_trgm is one of PostgreSQL's own trusted extensions: the owner of the database may add it.

create extension if not exists pg_trgm;

-- The words of a text, each once, in small letters: what stands between spaces without its punctuation, and the parts that
-- punctuation makes of it. "T490-1187" gives t4901187, t490 and 1187.
create function search_words(said text) returns setof text language sql immutable as $$
    select distinct word from (
        select regexp_replace(chunk, '[^[:alnum:]]', '', 'g') as word from regexp_split_to_table(lower(said), '\s+') as chunk
        union all
        select part from regexp_split_to_table(lower(said), '[^[:alnum:]]+') as part
    ) as words
    where length(word) between 2 and 40 and word not in ('the', 'and', 'for', 'with', 'of', 'to', 'in', 'on', 'at', 'an', 'is')
$$;

create table search_word (
    shop_id uuid not null,
    row_id uuid not null,                  -- of what is found
    word text collate "C" not null,
    source_id uuid not null,               -- of the row that has the word: the same, or one that belongs to it
    kind text not null check (kind in ('job', 'quote', 'enquiry', 'customer', 'casting', 'pattern', 'variant', 'item', 'tool')),
    number bigint not null,                -- the newest first; 0 where there are no numbers
    primary key (shop_id, row_id, word, source_id)
);
create index search_word_rows on search_word (shop_id, word, kind, number desc, row_id);
call make_tenant('search_word');

-- The words a shop has used, each once.
create table search_term (
    shop_id uuid not null,
    word text collate "C" not null,
    primary key (shop_id, word)
);
call make_tenant('search_term');

-- Writes the words of a row in place of those it had.
create function index_words(shop uuid, of_kind text, of_row uuid, source uuid, at_number bigint, said text)
returns void language plpgsql as $$
begin
    delete from search_word where shop_id = shop and row_id = of_row and source_id = source;
    insert into search_word (shop_id, row_id, word, source_id, kind, number)
        select shop, of_row, word, source, of_kind, at_number from search_words(said) as word;
    insert into search_term (shop_id, word) select shop, word from search_words(said) as word order by word
    on conflict do nothing;
end
$$;

-- The same as a trigger. Its arguments: the kind; the column with the key of what is found; the column with its number, or
-- nothing; and the columns whose words are found.
create function index_row() returns trigger language plpgsql as $$
declare
    old_row jsonb := case when tg_op <> 'INSERT' then to_jsonb(old) end;
    new_row jsonb := case when tg_op <> 'DELETE' then to_jsonb(new) end;
    said text := '';
    said_before text := '';
begin
    for i in 3 .. tg_nargs - 1 loop
        said := said || ' ' || coalesce(new_row ->> tg_argv[i], '');
        said_before := said_before || ' ' || coalesce(old_row ->> tg_argv[i], '');
    end loop;
    if tg_op = 'UPDATE' and said = said_before and old_row ->> tg_argv[1] = new_row ->> tg_argv[1] then
        return null;
    end if;
    if tg_op <> 'INSERT' then
        delete from search_word
        where shop_id = old.shop_id and row_id = (old_row ->> tg_argv[1])::uuid and source_id = old.id;
    end if;
    if tg_op <> 'DELETE' then
        perform index_words(new.shop_id, tg_argv[0], (new_row ->> tg_argv[1])::uuid, new.id,
                            coalesce((new_row ->> nullif(tg_argv[2], ''))::bigint, 0), said);
    end if;
    return null;
end
$$;

-- A quote is found by its title and by who called.
create function index_quote() returns trigger language plpgsql as $$
begin
    perform index_words(new.shop_id, 'quote', new.id, new.id, new.number,
        new.title || ' ' || coalesce((select e.caller from enquiry e where e.shop_id = new.shop_id and e.id = new.enquiry_id), ''));
    return null;
end
$$;

-- The part of quick work is found with its enquiry, whose key is its own: its words stand under another one.
create function part_of(id uuid) returns uuid language sql immutable as $$ select md5('part of ' || id)::uuid $$;

-- What is there already.
do $$
declare
    one uuid;
begin
    for one in select shop_id from shop_directory loop
        perform set_config('borewright.shop_id', one::text, true);
        perform index_words(one, 'job', id, id, number, title || ' ' || customer) from job where shop_id = one;
        perform index_words(one, 'quote', q.id, q.id, q.number, q.title || ' ' || e.caller)
            from quote q join enquiry e on e.shop_id = one and e.id = q.enquiry_id where q.shop_id = one;
        perform index_words(one, 'enquiry', id, id, number, concat_ws(' ', caller, contact, brings_note, note))
            from enquiry where shop_id = one;
        perform index_words(one, 'enquiry', w.id, part_of(w.id), e.number, w.part)
            from quick_work w join enquiry e on e.shop_id = one and e.id = w.id where w.shop_id = one and w.part <> '';
        perform index_words(one, 'customer', coalesce(merged_into, id), id, 0, concat_ws(' ', name, email, note))
            from customer where shop_id = one;
        perform index_words(one, 'customer', customer_id, id, 0, concat_ws(' ', name, email)) from customer_contact where shop_id = one;
        perform index_words(one, 'customer', customer_id, id, 0, concat_ws(' ', what, engine, serial, note))
            from customer_machine where shop_id = one;
        perform index_words(one, 'casting', id, id, number, concat_ws(' ', condition, owner, came_from)) from casting where shop_id = one;
        perform index_words(one, 'casting', m.casting_id, m.id, c.number, m.text)
            from casting_mark m join casting c on c.shop_id = one and c.id = m.casting_id where m.shop_id = one;
        perform index_words(one, 'pattern', id, id, 0, concat_ws(' ', name, marks)) from pattern where shop_id = one;
        perform index_words(one, 'variant', id, id, 0, concat_ws(' ', name, note)) from variant where shop_id = one;
        perform index_words(one, 'item', id, id, 0, concat_ws(' ', name, supplier, kept_at)) from stock_item where shop_id = one;
        perform index_words(one, 'tool', id, id, 0, concat_ws(' ', name, kept_at, note)) from tool where shop_id = one;
    end loop;
    perform set_config('borewright.shop_id', '', true);
end
$$;

create trigger index_row after insert or update or delete on job
    for each row execute function index_row('job', 'id', 'number', 'title', 'customer');
create trigger index_quote after insert on quote for each row execute function index_quote();
create trigger index_row after insert or update or delete on enquiry
    for each row execute function index_row('enquiry', 'id', 'number', 'caller', 'contact', 'brings_note', 'note');
create trigger index_row after insert or update or delete on customer_contact
    for each row execute function index_row('customer', 'customer_id', '', 'name', 'email');
create trigger index_row after insert or update or delete on customer_machine
    for each row execute function index_row('customer', 'customer_id', '', 'what', 'engine', 'serial', 'note');
create trigger index_row after insert or update or delete on casting
    for each row execute function index_row('casting', 'id', 'number', 'condition', 'owner', 'came_from');
create trigger index_row after insert or update or delete on casting_mark
    for each row execute function index_row('casting', 'casting_id', '', 'text');
create trigger index_row after insert or update or delete on pattern
    for each row execute function index_row('pattern', 'id', '', 'name', 'marks');
create trigger index_row after insert or update or delete on variant
    for each row execute function index_row('variant', 'id', '', 'name', 'note');
create trigger index_row after insert or update or delete on stock_item
    for each row execute function index_row('item', 'id', '', 'name', 'supplier', 'kept_at');
create trigger index_row after insert or update or delete on tool
    for each row execute function index_row('tool', 'id', '', 'name', 'kept_at', 'note');

-- A customer that was merged into another is found as that one.
create function index_customer() returns trigger language plpgsql as $$
begin
    if tg_op = 'UPDATE' then
        delete from search_word
        where shop_id = old.shop_id and row_id = coalesce(old.merged_into, old.id) and source_id = old.id;
    end if;
    perform index_words(new.shop_id, 'customer', coalesce(new.merged_into, new.id), new.id, 0,
                        concat_ws(' ', new.name, new.email, new.note));
    return null;
end
$$;
create trigger index_customer after insert or update on customer for each row execute function index_customer();

create function index_quick_work() returns trigger language plpgsql as $$
begin
    if tg_op = 'INSERT' or new.part is distinct from old.part then
        perform index_words(new.shop_id, 'enquiry', new.id, part_of(new.id), e.number, new.part)
        from enquiry e where e.shop_id = new.shop_id and e.id = new.id;
    end if;
    return null;
end
$$;
create trigger index_quick_work after insert or update on quick_work for each row execute function index_quick_work();
