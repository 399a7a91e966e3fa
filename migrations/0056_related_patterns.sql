-- Patterns of one engine family: castings of one can be donors for another, with what then stays different for good.
create table related_pattern (
    shop_id uuid not null references shop,
    id uuid not null,
    wanted_pattern_id uuid not null,
    donor_pattern_id uuid not null check (donor_pattern_id <> wanted_pattern_id),
    shifts jsonb not null default '[]',   -- by face: what is added to a position on the wanted pattern, in mm
    labels jsonb not null default '[]',   -- spots with another label on the donor
    lasting jsonb not null default '[]',  -- what stays different, for which purposes that will not do, a caution
    note text not null default '',
    version int not null default 1,
    primary key (shop_id, id),
    foreign key (shop_id, wanted_pattern_id) references pattern on delete cascade,
    foreign key (shop_id, donor_pattern_id) references pattern
);
create unique index related_pattern_once on related_pattern (shop_id, wanted_pattern_id, donor_pattern_id);
create index related_pattern_of_donor on related_pattern (shop_id, donor_pattern_id);
call make_tenant('related_pattern');
call keep_history('related_pattern');

-- The donor of another pattern that a quote counts on: its pattern, what stays different, how its places are moved.
alter table quote add related jsonb;
