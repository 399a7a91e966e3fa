-- Castings: patterns (where there is metal), variants (what was machined), features, and the shop's remedy rules.
-- Sizes are exact millimetres; threads and fits are kept as their designations and parsed on the way out.

create table pattern (
    shop_id uuid not null references shop,
    id uuid not null,
    name text not null,
    cylinders int not null check (cylinders > 0),
    mains int not null check (mains > 0),
    marks text not null,
    version int not null default 1,
    primary key (shop_id, id)
);
create unique index pattern_name on pattern (shop_id, lower(name));
call make_tenant('pattern');

-- A face of a pattern as drawn.
create table outline (
    shop_id uuid not null,
    pattern_id uuid not null,
    face text not null,
    width_mm numeric not null check (width_mm > 0),
    height_mm numeric not null check (height_mm > 0),
    primary key (shop_id, pattern_id, face),
    foreign key (shop_id, pattern_id) references pattern on delete cascade
);
call make_tenant('outline');

-- Metal enough to machine something, whichever variant was made of the casting.
create table boss (
    shop_id uuid not null,
    pattern_id uuid not null,
    face text not null,
    label text not null,
    largest_mm numeric not null check (largest_mm > 0),
    deepest_mm numeric check (deepest_mm > 0), -- null: may go through
    primary key (shop_id, pattern_id, face, label),
    foreign key (shop_id, pattern_id) references pattern on delete cascade
);
call make_tenant('boss');

create table variant (
    shop_id uuid not null,
    id uuid not null,
    pattern_id uuid not null,
    name text not null,
    gearbox_under boolean not null,
    note text not null,
    version int not null default 1,
    primary key (shop_id, id),
    foreign key (shop_id, pattern_id) references pattern
);
create unique index variant_name on variant (shop_id, lower(name));
create index variant_of_pattern on variant (shop_id, pattern_id);
call make_tenant('variant');

create table feature (
    shop_id uuid not null,
    variant_id uuid not null,
    face text not null,
    label text not null,
    kind text not null,
    x_mm numeric not null,
    y_mm numeric not null,
    size_mm numeric not null check (size_mm > 0),
    depth_mm numeric check (depth_mm > 0), -- null: goes through
    thread text,
    fit text,
    count int not null check (count > 0),
    note text not null,
    primary key (shop_id, variant_id, face, label),
    foreign key (shop_id, variant_id) references variant on delete cascade
);
call make_tenant('feature');

-- The first rule that fits, by priority, decides what is done about a difference, and so time and money.
create table remedy_rule (
    shop_id uuid not null references shop,
    id uuid not null,
    priority int not null,
    name text not null,
    applies_when text not null,
    kind text,
    face text,
    smallest_mm numeric check (smallest_mm > 0),
    largest_mm numeric check (largest_mm > 0),
    gearbox_under boolean,
    action text not null,
    elements text[] not null,
    say text not null,
    version int not null default 1,
    primary key (shop_id, id)
);
create unique index remedy_rule_name on remedy_rule (shop_id, lower(name));
call make_tenant('remedy_rule');
call keep_history('remedy_rule');
