-- What may be left out of a job, and what was agreed beyond the price of the answer.

-- What the customer must hear when an element is left out; empty: it is always done.
alter table element add left_out text not null default '';

alter table quote
    add reason text not null default '',           -- why its price or work is not that of the answer
    add conditions text[] not null default '{}',   -- what the customer must hear because of it
    add alternative_to uuid,                       -- the first quote of the paper on which it stands as another option
    add foreign key (shop_id, alternative_to) references quote;
create index quote_alternatives on quote (shop_id, alternative_to) where alternative_to is not null;
