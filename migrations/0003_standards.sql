-- What work takes and what an hour costs: machines with their worksheets, people's rates, standard times of elements,
-- cutting data. Amounts are in the shop's currency.

-- A machine with the worksheet behind its hourly rate.
create table machine (
    shop_id uuid not null references shop,
    id uuid not null,
    kind text not null,
    name text not null,
    active boolean not null,
    capital numeric not null,
    residual numeric not null,
    life_years numeric not null,
    interest_percent numeric not null,
    power_kw numeric not null,
    power_price numeric not null,
    maintenance_a_year numeric not null,
    space_m2 numeric not null,
    space_price numeric not null,
    insurance_a_year numeric not null,
    hours_a_year numeric not null,
    agreed_rate numeric, -- the owner's own hourly rate in place of the worksheet's
    version int not null default 1,
    primary key (shop_id, id)
);
create unique index machine_name on machine (shop_id, lower(name));
call make_tenant('machine');
call keep_history('machine');

-- What an hour of a person costs, by skill; the row without a skill is for all skills that have no row.
create table labour_rate (
    shop_id uuid not null references shop,
    id uuid not null,
    skill text,
    hourly numeric not null check (hourly >= 0),
    version int not null default 1,
    primary key (shop_id, id)
);
create unique index labour_rate_skill on labour_rate (shop_id, lower(skill)) nulls not distinct;
call make_tenant('labour_rate');
call keep_history('labour_rate');

-- An element of work with its standard time. Lists are documents: they are read and written whole.
create table element (
    shop_id uuid not null references shop,
    id uuid not null,
    code text not null,
    name text not null,
    stage text not null,
    machine_kind text not null,
    skill text not null,
    basis text not null,
    standing text not null,
    can_fail boolean not null,
    apart boolean not null,
    setup_minutes numeric not null check (setup_minutes >= 0),
    revised_minutes numeric check (revised_minutes >= 0),
    handling_minutes numeric not null check (handling_minutes >= 0),
    owner_minutes numeric not null check (owner_minutes >= 0),
    attended_share numeric not null check (attended_share between 0 and 1),
    spread jsonb not null,
    recipe jsonb,
    outside_price numeric check (outside_price >= 0),
    outside_days int check (outside_days >= 0),
    checks jsonb not null,
    cautions jsonb not null,
    materials jsonb not null,
    version int not null default 1,
    primary key (shop_id, id)
);
create unique index element_code on element (shop_id, code);
call make_tenant('element');
call keep_history('element');

-- A work material with its cutting data; the usual one is what castings are of unless told otherwise.
create table work_material (
    shop_id uuid not null references shop,
    id uuid not null,
    name text not null,
    top_speed numeric not null check (top_speed > 0), -- rev/min
    usual boolean not null,
    version int not null default 1,
    primary key (shop_id, id)
);
create unique index work_material_name on work_material (shop_id, lower(name));
create unique index work_material_usual on work_material (shop_id) where usual;
call make_tenant('work_material');
call keep_history('work_material');

-- What one tool does in one work material: a starting point, with its source.
create table cutting_data (
    shop_id uuid not null,
    id uuid not null,
    work_material_id uuid not null,
    process text not null,
    tool text not null,
    smallest_mm numeric check (smallest_mm > 0), -- itself left out
    largest_mm numeric check (largest_mm > 0), -- itself included
    speed numeric not null check (speed > 0), -- m/min
    feed numeric not null check (feed > 0), -- mm a revolution, for milling a tooth
    teeth int not null check (teeth > 0),
    approach_mm numeric not null check (approach_mm >= 0),
    overrun_mm numeric not null check (overrun_mm >= 0),
    source text not null,
    version int not null default 1,
    primary key (shop_id, id),
    foreign key (shop_id, work_material_id) references work_material on delete cascade
);
create index cutting_data_of_material on cutting_data (shop_id, work_material_id);
call make_tenant('cutting_data');
call keep_history('cutting_data');
