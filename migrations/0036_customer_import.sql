-- Customers that came in from a table, so that they can be taken out again.

create table customer_import (
    shop_id uuid not null,
    id uuid not null,
    at timestamptz not null default now(),
    person_id uuid,
    customers uuid[] not null,
    undone_at timestamptz,
    primary key (shop_id, id),
    foreign key (shop_id, person_id) references person
);
create index customer_import_newest on customer_import (shop_id, at desc);
call make_tenant('customer_import');
revoke delete on customer_import from borewright_service;

-- A customer that is deleted is not found any more.
create function forget_customer() returns trigger language plpgsql as $$
begin
    delete from search_word where shop_id = old.shop_id and row_id = coalesce(old.merged_into, old.id) and source_id = old.id;
    return null;
end
$$;
create trigger forget_customer after delete on customer for each row execute function forget_customer();
