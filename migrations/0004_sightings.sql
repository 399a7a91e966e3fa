-- The market: scarce castings seen for sale, and the watch a shop keeps on a variant.

create table sighting (
    shop_id uuid not null references shop,
    id uuid not null,
    variant_id uuid not null,
    seen_on date not null,
    place text not null,
    asked numeric check (asked > 0),
    currency text, -- of the asked price: not every seller is in the shop's country
    condition text not null,
    acceptable boolean not null,
    fate text not null check (fate in ('open', 'sold_elsewhere', 'bought_good', 'bought_scrap', 'passed_over')),
    version int not null default 1,
    primary key (shop_id, id),
    foreign key (shop_id, variant_id) references variant,
    check ((asked is null) = (currency is null))
);
create index sighting_of_variant on sighting (shop_id, variant_id, seen_on);
call make_tenant('sighting');
call keep_history('sighting');

-- What the shop says of a variant before it has seen much. Amounts are in the shop's currency.
create table watch (
    shop_id uuid not null references shop,
    id uuid not null,
    variant_id uuid not null,
    since date not null,
    likely_wait_days int not null check (likely_wait_days > 0),
    likely_price numeric check (likely_price > 0),
    price_factor numeric not null check (price_factor > 1),
    good_percent int not null check (good_percent between 1 and 99),
    search_hours_a_week numeric not null check (search_hours_a_week between 0 and 168),
    carriage numeric not null check (carriage >= 0),
    carriage_days int not null check (carriage_days >= 0),
    offer_days int not null check (offer_days > 0),
    version int not null default 1,
    primary key (shop_id, id),
    foreign key (shop_id, variant_id) references variant
);
create unique index watch_of_variant on watch (shop_id, variant_id);
call make_tenant('watch');
call keep_history('watch');
