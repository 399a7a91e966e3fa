-- What a customer must be told, and what a job was charged for, as codes and numbers: the screens say them in words.
-- A new column type by expression, because it reaches the rows of every shop and is no change worth a history.

alter table to_tell
    alter why type text using case
        when why like '%new quote%' then 'new_quote'
        when why like '%no other%' then 'no_casting'
        else 'starts_again'
    end,
    add check (why in ('new_quote', 'starts_again', 'no_casting'));

-- The only cost so far: "Casting 12, scrapped".
alter table job_cost alter what type bigint using substring(what from '[0-9]+')::bigint;
alter table job_cost rename what to casting_number;
