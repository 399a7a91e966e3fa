-- Customers: who calls and whom jobs are for. Calls, jobs and customers' castings keep the name as it was said and point to
-- the customer who goes by it, if there is one.

-- A name as it is compared: capitals, spaces and full stops at its ends do not matter.
create function name_key(name text) returns text language sql immutable
    as $$ select lower(btrim(regexp_replace(name, '\s+', ' ', 'g'), ' .,;')) $$;

-- A telephone number as it is compared.
create function phone_key(phone text) returns text language sql immutable
    as $$ select regexp_replace(phone, '[^0-9]', '', 'g') $$;

create table customer (
    shop_id uuid not null references shop,
    id uuid not null,
    name text not null check (name_key(name) <> ''),
    phone text not null default '',
    email text not null default '',
    address text not null default '',
    terms text not null default '',       -- of payment, in words
    note text not null default '',
    merged_into uuid,                     -- the customer that this one turned out to be
    created_at timestamptz not null default now(),
    version int not null default 1,
    primary key (shop_id, id),
    foreign key (shop_id, merged_into) references customer,
    check (merged_into <> id)
);
create index customer_by_name on customer (shop_id, lower(name)) where merged_into is null;
call make_tenant('customer');
call keep_history('customer');

-- Every name a customer goes by: the present one, earlier ones, and those of customers merged into it.
create table customer_name (
    shop_id uuid not null,
    key text not null,
    name text not null,
    customer_id uuid not null,
    primary key (shop_id, key),
    foreign key (shop_id, customer_id) references customer on delete cascade,
    check (key = name_key(name))
);
create index customer_name_of on customer_name (shop_id, customer_id);
call make_tenant('customer_name');

-- The people one speaks to there.
create table customer_contact (
    shop_id uuid not null,
    id uuid not null,
    customer_id uuid not null,
    position int not null,
    name text not null,
    role text not null default '',
    phone text not null default '',
    email text not null default '',
    primary key (shop_id, id),
    foreign key (shop_id, customer_id) references customer on delete cascade
);
create index customer_contact_of on customer_contact (shop_id, customer_id, position);
call make_tenant('customer_contact');
call keep_history('customer_contact');

-- What they own that the shop works on: boats, engines, machines.
create table customer_machine (
    shop_id uuid not null,
    id uuid not null,
    customer_id uuid not null,
    position int not null,
    what text not null,
    engine text not null default '',
    serial text not null default '',
    note text not null default '',
    primary key (shop_id, id),
    foreign key (shop_id, customer_id) references customer on delete cascade
);
create index customer_machine_of on customer_machine (shop_id, customer_id, position);
call make_tenant('customer_machine');
call keep_history('customer_machine');

-- Two customers that were one, and what was moved, so that it can be undone.
create table customer_merge (
    shop_id uuid not null,
    id uuid not null,
    kept_id uuid not null,
    gone_id uuid not null,
    at timestamptz not null default now(),
    person_id uuid,
    enquiries uuid[] not null,
    jobs uuid[] not null,
    castings uuid[] not null,
    contacts uuid[] not null,
    machines uuid[] not null,
    names text[] not null,
    undone_at timestamptz,
    primary key (shop_id, id),
    foreign key (shop_id, kept_id) references customer,
    foreign key (shop_id, gone_id) references customer,
    foreign key (shop_id, person_id) references person
);
create index customer_merge_of on customer_merge (shop_id, kept_id);
call make_tenant('customer_merge');
revoke delete on customer_merge from borewright_service;

alter table enquiry add customer_id uuid, add foreign key (shop_id, customer_id) references customer;
alter table job add customer_id uuid, add foreign key (shop_id, customer_id) references customer;
alter table casting add customer_id uuid, add foreign key (shop_id, customer_id) references customer;
create index enquiry_of_customer on enquiry (shop_id, customer_id, number);
create index job_of_customer on job (shop_id, customer_id, number);
create index casting_of_customer on casting (shop_id, customer_id) where customer_id is not null;
create index enquiry_by_caller on enquiry (shop_id, name_key(caller)) where customer_id is null;
create index job_by_customer on job (shop_id, name_key(customer)) where customer_id is null;
create index casting_by_owner on casting (shop_id, name_key(owner)) where customer_id is null;

-- A customer's own casting goes into that customer's jobs and no other: by the customer where one is known, else by name.
alter table casting drop constraint customers_casting_for_their_job, drop column owner_key;
alter table job drop constraint job_customer, drop column customer_key;

-- Points what bears a name to the customer who goes by it, where it points to nobody yet: one name, or all where it is null.
create function link_customers(only_key text) returns void language plpgsql as $$
declare
    shop uuid := current_shop();
begin
    update enquiry e set customer_id = n.customer_id from customer_name n
    where n.shop_id = shop and (only_key is null or n.key = only_key)
          and e.shop_id = shop and e.customer_id is null and name_key(e.caller) = n.key;
    -- In one statement, because a casting and its job must agree at the end of each.
    with of_job as (
        update job j set customer_id = n.customer_id from customer_name n
        where n.shop_id = shop and (only_key is null or n.key = only_key)
              and j.shop_id = shop and j.customer_id is null and name_key(j.customer) = n.key
    )
    update casting c set customer_id = n.customer_id from customer_name n
    where n.shop_id = shop and (only_key is null or n.key = only_key) and c.ownership = 'customer'
          and c.shop_id = shop and c.customer_id is null and name_key(c.owner) = n.key;
end
$$;

-- Makes customers of all the names in calls, jobs and castings that belong to none yet, in the shop of the transaction: one
-- for each name. It is spelt as it was last, and reached as it last said. Returns how many there are now more.
create function adopt_customers() returns bigint language plpgsql as $$
declare
    shop uuid := current_shop();
    made bigint;
begin
    with said as (
        select caller as name, contact, created_at as at from enquiry where shop_id = shop and customer_id is null
        union all
        select customer, '', created_at from job where shop_id = shop and customer_id is null
        union all
        select owner, '', '-infinity' from casting
        where shop_id = shop and customer_id is null and ownership = 'customer'
    ), named as (
        select name_key(name) as key, (array_agg(btrim(name) order by at desc))[1] as name,
               coalesce((array_agg(btrim(contact) order by at desc) filter (where btrim(contact) <> ''))[1], '') as contact
        from said where name_key(name) <> '' group by name_key(name)
    ), fresh as (
        select gen_random_uuid() as id, named.* from named
        where not exists (select from customer_name n where n.shop_id = shop and n.key = named.key)
    ), customers as (
        insert into customer (shop_id, id, name, phone, email)
        select shop, id, name, case when contact like '%@%' then '' else contact end,
               case when contact like '%@%' then contact else '' end
        from fresh
    )
    insert into customer_name (shop_id, key, name, customer_id) select shop, key, name, id from fresh;
    get diagnostics made = row_count;
    perform link_customers(null);
    return made;
end
$$;

-- The names that are there already. What follows from them changes no plan and is no edit.
alter table enquiry disable trigger user;
alter table job disable trigger user;
alter table casting disable trigger user;
do $$
declare
    one uuid;
begin
    for one in select shop_id from shop_directory loop
        perform set_config('borewright.shop_id', one::text, true);
        perform adopt_customers();
    end loop;
    perform set_config('borewright.shop_id', '', true);
end
$$;
alter table enquiry enable trigger user;
alter table job enable trigger user;
alter table casting enable trigger user;

alter table job
    add customer_key text generated always as (coalesce(customer_id::text, nullif(name_key(customer), ''))) stored,
    add constraint job_customer unique (shop_id, id, customer_key);
alter table casting
    add owner_key text generated always as (
        case when ownership = 'customer' then coalesce(customer_id::text, name_key(owner)) end) stored,
    add constraint customers_casting_for_their_job
        foreign key (shop_id, job_id, owner_key) references job (shop_id, id, customer_key);

-- Whoever writes a name, it points to the customer who goes by it. The argument is the column with the name.
create function link_customer() returns trigger language plpgsql as $$
declare
    said text := name_key(to_jsonb(new) ->> tg_argv[0]);
begin
    if tg_op = 'UPDATE' and new.customer_id is not null and said = name_key(to_jsonb(old) ->> tg_argv[0]) then
        return new;
    end if;
    new.customer_id := (select n.customer_id from customer_name n where n.shop_id = new.shop_id and n.key = said);
    return new;
end
$$;
create trigger link_customer before insert or update of caller on enquiry
    for each row execute function link_customer('caller');
create trigger link_customer before insert or update of customer on job
    for each row execute function link_customer('customer');
create function link_owner() returns trigger language plpgsql as $$
begin
    new.customer_id := case when new.ownership = 'customer' then
        (select n.customer_id from customer_name n where n.shop_id = new.shop_id and n.key = name_key(new.owner)) end;
    return new;
end
$$;
create trigger link_customer before insert or update of owner, ownership on casting
    for each row execute function link_owner();
